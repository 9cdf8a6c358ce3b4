"""What a recording can carry: codec bands, overdrive, level, gaps, the phone's own processing, masks."""

import numpy as np
import pytest

from listen.quality import measure_quality, with_masks
from listen.types import Limit, SoundEvent
from tests.reference.values import NARROW_BAND_HZ, WIDE_BAND_HZ
from tests.support.signals import RATE_HZ, band_noise, click, collect, comb, noise, put, tones

T = np.arange(10 * RATE_HZ) / RATE_HZ


def quality_of(samples, rate_hz=RATE_HZ, notes=()):
    return measure_quality(collect(samples, rate_hz), notes)


def codes(quality):
    return [limit.code for limit in quality.limits]


def limit(quality, code):
    return next(item for item in quality.limits if item.code == code)


def duct_noise(seed, rms=0.0015):
    """Fan in a duct: falls by 6 dB an octave above 200 Hz."""
    spectrum = np.fft.rfft(noise(10.0, 1.0, seed))
    hz = np.fft.rfftfreq(10 * RATE_HZ, 1 / RATE_HZ)
    samples = np.fft.irfft(spectrum / np.hypot(1.0, hz / 200.0), 10 * RATE_HZ)
    return samples * rms / np.sqrt(np.mean(samples**2))


@pytest.mark.parametrize("samples", [
    noise(10.0, 0.0015, 1),
    duct_noise(2),
    noise(10.0, 0.0015, 3) + tones(10.0, comb(100.0, range(1, 8), 0.05), 4),
], ids=["white", "duct fan", "steady hum"])  # fmt: skip
def test_plain_sounds_have_no_limits(samples):
    quality = quality_of(samples)
    assert quality.usable and codes(quality) == []
    for sound in ("hiss", "mains_hum", "click", "gravel", "boil"):
        assert quality.carries(sound)


@pytest.mark.parametrize("rate_hz, hidden_rms", [(8_000, 0.0), (48_000, 1e-4)])
def test_telephone_band_carries_neither_hum_nor_hiss(rate_hz, hidden_rms):
    hum = {
        hz: a
        for hz, a in comb(100.0, range(1, 30), 0.001).items()
        if NARROW_BAND_HZ[0] < hz < NARROW_BAND_HZ[1]
    }
    samples = band_noise(10.0, 0.0008, 5, *NARROW_BAND_HZ, rate_hz) + tones(10.0, hum, 6, rate_hz)
    quality = quality_of(samples + noise(10.0, hidden_rms, 7, rate_hz), rate_hz)
    assert codes(quality) == ["narrow_band"]
    assert quality.usable
    assert quality.band_hz[0] == pytest.approx(NARROW_BAND_HZ[0], abs=100)
    assert quality.band_hz[1] == pytest.approx(NARROW_BAND_HZ[1], abs=400)
    for sound in ("hiss", "mains_hum", "motor_run", "boil", "gravel"):
        assert not quality.carries(sound)
    assert quality.carries("click") and quality.carries("squeal")
    assert "call" in limit(quality, "narrow_band").retake


@pytest.mark.parametrize("rate_hz, hidden_rms", [(16_000, 0.0), (48_000, 1e-4)])
def test_wide_band_call_is_named_and_carries_hum(rate_hz, hidden_rms):
    samples = band_noise(10.0, 0.0015, 8, *WIDE_BAND_HZ, rate_hz) + noise(10.0, hidden_rms, 9, rate_hz)
    quality = quality_of(samples, rate_hz)
    assert codes(quality) == ["wide_band_call"]
    assert quality.band_hz[1] == pytest.approx(WIDE_BAND_HZ[1], abs=400)
    assert quality.carries("mains_hum") and quality.carries("motor_run") and quality.carries("click")
    assert "call" in limit(quality, "wide_band_call").retake


def test_low_cut_hides_the_base_of_a_hum():
    quality = quality_of(band_noise(10.0, 0.0015, 10, 350.0, 15_500.0))
    assert codes(quality) == ["low_cut"]
    assert not quality.carries("mains_hum") and quality.carries("hiss")


def test_a_full_band_at_44100_is_full():
    quality = quality_of(noise(10.0, 0.0015, 11, 44_100), 44_100)
    # The last kilohertz is the resampler's slope.
    assert codes(quality) == [] and quality.band_hz[0] == 0.0 and quality.band_hz[1] > 15_000.0


def test_overdriven_a_little_and_much():
    sine = np.sin(2 * np.pi * 220 * T)
    some = noise(10.0, 0.0015, 12)
    some[: RATE_HZ // 2] += np.clip(1.6 * sine[: RATE_HZ // 2], -1, 1)
    some = quality_of(np.clip(some, -1, 1))
    much = quality_of(np.clip(2.0 * sine, -1, 1) + 0.0)
    assert some.usable and codes(some) == ["clipped"] and not some.carries("bang") and some.carries("hiss")
    assert 0.002 < some.clipped_fraction < 0.05
    # |2 sin| is over 0.985 for two thirds of a turn; the first sample of each run does not count.
    over = 1 - 2 / np.pi * np.arcsin(0.985 / 2) - 2 * 220 / RATE_HZ
    assert much.clipped_fraction == pytest.approx(over, abs=0.005)
    assert not much.usable and not much.carries("hiss")
    assert "metre" in limit(much, "clipped").retake


def test_too_quiet():
    for samples in (np.zeros(10 * RATE_HZ), noise(10.0, 1e-4, 13)):
        quality = quality_of(samples)
        assert not quality.usable and codes(quality) == ["too_quiet"] and not quality.carries("click")
    loud_once = put(noise(10.0, 1e-4, 13), noise(0.5, 0.05, 14), 4.0)
    assert "too_quiet" not in codes(quality_of(loud_once))


def test_too_short():
    quality = quality_of(noise(0.7, 0.05, 15))
    assert not quality.usable and "too_short" in codes(quality)
    assert "too_short" not in codes(quality_of(noise(1.1, 0.05, 15)))


def test_levels_in_decibels_of_full_scale():
    quality = quality_of(noise(10.0, 0.0015, 16))
    assert quality.level_dbfs == pytest.approx(20 * np.log10(0.0015), abs=0.2)
    assert quality.level_dbfs - 1.0 < quality.noise_floor_dbfs < quality.level_dbfs


def test_splices_block_clicks_around_them_only():
    samples = noise(10.0, 0.0015, 17)
    samples[3 * RATE_HZ : 3 * RATE_HZ + 400] = 0.0
    samples[7 * RATE_HZ : 7 * RATE_HZ + 400] = 0.0
    quality = quality_of(samples)
    assert codes(quality) == ["splice", "splice"]
    assert quality.carries("click") is True  # somewhere in the clip
    assert not quality.carries("click", 2.98, 3.03) and quality.carries("click", 4.0, 4.05)
    assert quality.carries("hiss", 2.98, 3.03)


def sinking_tone(hz, noise_rms):
    """A steady hum as a phone with noise suppression recorded it: mean amplitude second by second."""
    amplitude = np.interp(T, [0.5, 1.5, 2.5, 3.5], [0.447, 0.124, 0.086, 0.082])
    return amplitude * np.sin(2 * np.pi * hz * T) + noise(10.0, noise_rms, 18)


@pytest.mark.parametrize("noise_rms", [0.0008, 0.0015, 0.02, 0.05])
@pytest.mark.parametrize("hz", [100.0, 120.0])
def test_suppressed_tone_is_seen(hz, noise_rms):
    quality = quality_of(sinking_tone(hz, noise_rms))
    # Loud noise is a limit of its own.
    assert [code for code in codes(quality) if code != "steady_noise"] == ["tone_suppressed"]
    for sound in ("mains_hum", "motor_run", "hiss", "boil", "squeal"):
        assert not quality.carries(sound)
    assert quality.carries("click") is ("steady_noise" not in codes(quality))
    assert "suppression" in limit(quality, "tone_suppressed").retake


def test_a_tone_that_stays_or_that_ends_is_not_suppressed():
    assert codes(quality_of(0.2 * np.sin(2 * np.pi * 120 * T) + noise(10.0, 0.0015, 19))) == []
    ends = np.where(T < 3.0, 0.2, 0.0) * np.sin(2 * np.pi * 120 * T)
    assert codes(quality_of(ends + noise(10.0, 0.0015, 19))) == []


def test_gain_that_ducks_after_every_knock_is_seen():
    samples, gain = noise(20.0, 0.02, 20), np.ones(20 * RATE_HZ)
    knocks = (3.0, 7.0, 11.0, 15.0)
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    for n, at_s in enumerate(knocks):
        since = t - at_s
        # 12 dB down at once, back within a second and a half.
        gain *= np.where(since >= 0.02, 10 ** (-12 / 20 * np.clip(1.5 - since, 0, 1.5) / 1.5), 1.0)
        samples = put(samples, click(0.9, n, 0.01), at_s)
    assert "gain_pumping" in codes(quality_of(samples * gain))
    assert "gain_pumping" not in codes(quality_of(samples))


def test_loud_steady_noise_hides_strokes_and_jets_but_no_lines():
    loud = quality_of(put(noise(10.0, 0.05, 26), click(0.2, 1), 4.0))
    assert loud.usable and codes(loud) == ["steady_noise"]
    for sound in ("click", "burst", "hiss", "drip"):
        assert not loud.carries(sound, 3.0, 5.0)
    assert loud.carries("motor_run") and loud.carries("mains_hum") and loud.carries("stroke_train")
    assert "extractor fan" in limit(loud, "steady_noise").retake


@pytest.mark.parametrize("samples", [
    noise(10.0, 0.05, 1), duct_noise(2, 0.05), noise(10.0, 0.02, 19) + 0.2 * np.sin(2 * np.pi * 120 * T),
], ids=["white", "duct fan", "a tone that stays"])  # fmt: skip
def test_loud_plain_sounds_have_no_other_limit(samples):
    assert codes(quality_of(samples)) == ["steady_noise"]


@pytest.mark.parametrize("rms, jet_rms", [(0.0015, 0.0), (0.01, 0.2)], ids=["quiet", "a jet stands out"])
def test_a_quiet_room_or_a_noise_that_something_stands_out_of_hides_nothing(rms, jet_rms):
    assert codes(quality_of(put(noise(10.0, rms, 27), noise(1.0, jet_rms, 28), 4.0))) == []


@pytest.mark.parametrize(
    "sound, length_s, hides", [("hiss", 9.5, False), ("hiss", 4.0, True), ("fan", 10.0, True)]
)
def test_a_noise_that_is_the_machines_own_is_no_limit(sound, length_s, hides):
    quality = with_masks(quality_of(noise(10.0, 0.05, 29)), [event(sound, 0.2, 0.2 + length_s)], 10.0)
    assert ("steady_noise" in codes(quality)) is hides


@pytest.mark.parametrize(
    ("sound", "until_s", "probability", "carries"),
    [
        ("hiss", 9.8, 0.95, True),
        ("hiss", 5.0, 0.95, False),
        ("hiss", 9.8, 0.6, False),
        ("gravel", 9.8, 0.95, False),
    ],
)
def test_a_phone_that_leaves_a_steady_jet_erases_no_steady_noise(sound, until_s, probability, carries):
    quality = quality_of(sinking_tone(100.0, 0.0015))
    heard = with_masks(quality, [SoundEvent("e1", sound, 0.2, until_s, probability)], 10.0)
    assert heard.carries("water_flow", 0.0, 10.0) is carries
    # A tone may have been erased all the same.
    assert not heard.carries("motor_run", 0.0, 10.0)


def test_notes_of_decoding_come_first():
    note = Limit("truncated", "The file breaks off.", ("*",), 4.0, 10.0)
    quality = quality_of(noise(10.0, 0.0015, 21), notes=(note,))
    assert quality.limits[0] is note
    assert quality.usable and not quality.carries("hiss", 5.0, 9.0) and quality.carries("hiss", 1.0, 3.0)


def event(sound, onset_s, offset_s):
    return SoundEvent("e1", sound, onset_s, offset_s, 0.9)


def test_grinder_hides_everything_while_it_runs():
    quality = with_masks(quality_of(noise(10.0, 0.0015, 22)), [event("grinder", 2.0, 5.0)], 10.0)
    assert quality.usable and codes(quality) == ["masked"]
    for sound in ("hiss", "click", "motor_run", "mains_hum"):
        assert not quality.carries(sound, 2.5, 4.5)
        assert quality.carries(sound, 6.0, 9.0)
    assert "grinder" in limit(quality, "masked").retake


def test_a_clip_hidden_for_the_most_part_is_not_usable():
    plain = quality_of(noise(10.0, 0.0015, 23))
    assert not with_masks(plain, [event("grinder", 0.0, 8.0)], 10.0).usable
    assert with_masks(plain, [event("speech", 0.0, 10.0)], 10.0).usable


def test_speech_and_music_hide_what_sounds_like_them():
    plain = quality_of(noise(10.0, 0.0015, 24))
    speech = with_masks(plain, [event("speech", 2.0, 5.0)], 10.0)
    assert not speech.carries("click", 3.0, 4.0) and speech.carries("motor_run", 3.0, 4.0)
    music = with_masks(plain, [event("music", 2.0, 5.0)], 10.0)
    assert not music.carries("mains_hum", 3.0, 4.0) and music.carries("thump", 3.0, 4.0)


def test_what_hides_nothing_or_hardly_lasts_changes_nothing():
    plain = quality_of(noise(10.0, 0.0015, 25))
    assert with_masks(plain, [event("fan", 0.0, 10.0), event("grinder", 3.0, 3.2)], 10.0) == plain
