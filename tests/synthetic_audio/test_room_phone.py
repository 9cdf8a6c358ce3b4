"""Room and phone: decay times, reflections, bands, noise suppression, gain control."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt, sosfreqz

from synthetic_audio import draw
from synthetic_audio import phone as phone_chain
from synthetic_audio.randomness import generator
from synthetic_audio.room import direct_to_reverberant_db, impulse_response
from tests.measure import phone_effect
from tests.synthetic_audio import measure

RATE_HZ = 48_000
PLAIN = {
    "highpass_hz": 110.0, "resonance_hz": 7000.0, "resonance_db": 4.0, "noise_db": -80.0, "agc": 0.0,
    "agc_s": 0.8,
    "suppression": False, "suppression_floor_db": -20.0, "suppression_s": 1.2, "clip": False, "over_db": 4.0,
    "codec": "none", "lowpass_hz": 15_000.0,
}  # fmt: skip


def _tone(freq_hz: float, for_s: float, level: float = 0.1) -> np.ndarray:
    return (level * np.sin(2 * np.pi * freq_hz * np.arange(int(for_s * RATE_HZ)) / RATE_HZ)).astype(
        np.float32
    )


def _phone(wave: np.ndarray, **changed) -> tuple[np.ndarray, int]:
    return phone_chain.through_phone(wave, RATE_HZ, {**PLAIN, **changed}, generator(0, "train", "phone"))


@pytest.mark.parametrize("rt60_s", [0.25, 0.45, 0.7])
def test_room_decays_in_its_reverberation_time(rt60_s):
    # Schroeder's backward integration (1965), -5 to -25 dB, in the band below 3 kHz where the ring is set.
    response = impulse_response(generator(1, "train"), RATE_HZ, 60.0, rt60_s, 0.5)
    sections = butter(4, [200, 2000], "bandpass", fs=RATE_HZ, output="sos")
    low = sosfilt(sections, response)[int(0.02 * RATE_HZ) :]  # past the direct sound
    left = np.cumsum(low[::-1] ** 2)[::-1]
    level = 10 * np.log10(left / left[0])
    first, last = np.argmax(level < -5), np.argmax(level < -25)
    slope_s = (last - first) / RATE_HZ * 3
    assert slope_s == pytest.approx(rt60_s, rel=0.25)


def test_direct_sound_comes_first_and_falls_behind_with_distance():
    # Critical distance 0.057 sqrt(V/RT60): 0.637 m at 50 m3 and 0.4 s, computed by hand.
    assert direct_to_reverberant_db(50.0, 0.4, 0.637) == pytest.approx(0.0, abs=0.05)
    near = impulse_response(generator(2, "train"), RATE_HZ, 50.0, 0.4, 0.3)
    far = impulse_response(generator(2, "train"), RATE_HZ, 50.0, 0.4, 1.2)
    assert near[0] == far[0] == 1.0
    assert np.sum(far[1:] ** 2) > 6 * np.sum(near[1:] ** 2)
    assert np.max(np.abs(near[1:])) < 1.0


@pytest.mark.parametrize(
    ("codec", "low_hz", "high_hz"), [("narrow_band", 300, 3400), ("wide_band", 50, 7000)]
)
def test_codec_bands_are_those_of_telephony(codec, low_hz, high_hz):
    # 300-3400 Hz and 50-7000 Hz: 3GPP narrow-band and wide-band (G.722.2) speech.
    assert phone_chain.codec_band_hz({**PLAIN, "codec": codec}) == (low_hz, high_hz)
    sections = phone_chain._sections(
        {**PLAIN, "codec": codec, "highpass_hz": 20.0, "resonance_db": 0.0}, RATE_HZ
    )
    _, h = sosfreqz(
        sections, worN=[low_hz / 2, low_hz, np.sqrt(low_hz * high_hz), high_hz, high_hz * 1.5], fs=RATE_HZ
    )
    gain_db = 20 * np.log10(np.abs(h))
    assert gain_db[0] < -15
    assert gain_db[1] == pytest.approx(-3, abs=1.5)
    assert gain_db[2] == pytest.approx(0, abs=0.5)
    assert gain_db[3] == pytest.approx(-3, abs=0.5)
    assert gain_db[4] < -30


def test_rate_follows_the_codec():
    wave = _tone(1000.0, 1.0)
    for codec, rate_hz in (
        ("none", 48_000),
        ("low_pass", 48_000),
        ("wide_band", 16_000),
        ("narrow_band", 8_000),
    ):
        out, rate = _phone(wave, codec=codec)
        assert rate == rate_hz
        assert len(out) == rate_hz
        assert measure.strongest_line_hz(
            out, 500 * 48_000 / rate, 1500 * 48_000 / rate
        ) * rate / 48_000 == pytest.approx(1000, abs=2)


def test_suppression_erases_a_steady_tone_and_keeps_what_changes():
    wave = _tone(240.0, 6.0)
    rng = generator(3, "train")
    start = 4 * RATE_HZ
    wave[start : start + 4800] += (0.3 * rng.standard_normal(4800) * np.exp(-np.arange(4800) / 960)).astype(
        np.float32
    )
    kept, _ = _phone(wave)
    taken, _ = _phone(wave, suppression=True)
    before = kept[3 * RATE_HZ : 3 * RATE_HZ + 24_000].std()
    after = taken[3 * RATE_HZ : 3 * RATE_HZ + 24_000].std()
    assert 20 * np.log10(before / after) > 10
    assert taken[start : start + 2400].std() > 0.5 * kept[start : start + 2400].std()


def test_gain_control_lifts_quiet_and_holds_down_loud():
    quiet, loud = _tone(800.0, 4.0, 0.01), _tone(800.0, 4.0, 0.5)
    ratio_plain = _phone(loud)[0].std() / _phone(quiet)[0].std()
    ratio = _phone(loud, agc=0.7)[0].std() / _phone(quiet, agc=0.7)[0].std()
    assert ratio < 0.4 * ratio_plain


#: What a browser's microphone path made of the signals of `tests/measure/phone_effect.py` (Chromium 156, printed
#: by that script): RMS in dB re full scale of each half second, without any codec.
MEASURED = {
    ("tone", "suppression"): [-18.2, -33.4, -33.6, -33.6] + 12 * [-34.6],
    ("hiss", "suppression"): [
        -77.4, -80.2, -80.3, -80.4, -29.5, -29.3, -29.6, -31.5, -36.6, -47.0, -42.9, -42.8, -43.6, -43.4, -57.4, -81.1,
    ],
    ("tone", "gain"): [-3.2, -4.5, -7.5, -10.5, -13.5] + 11 * [-15.1],
    ("hiss", "gain"): [-46.6, -49.0, -49.3, -49.3] + 10 * [-15.3] + [-32.8, -49.3],
}  # fmt: skip


def _half_seconds_db(wave: np.ndarray) -> np.ndarray:
    return 10 * np.log10(np.mean(wave.reshape(16, -1) ** 2, axis=1) + 1e-12)


@pytest.fixture(scope="module")
def played():
    return {name: wave.astype(np.float32) for name, wave in phone_effect.signals().items()}


@pytest.mark.parametrize("name", ["tone", "hiss"])
def test_suppression_is_as_deep_and_as_late_as_measured(played, name):
    out = _half_seconds_db(phone_chain._suppress(played[name], RATE_HZ, -20.0, 1.2))
    off = np.abs(out - MEASURED[name, "suppression"])
    # The half seconds in which a sound is just being taken away, or has just ended, may differ more.
    turning = [0] if name == "tone" else [7, 8, 9, 14]
    assert np.delete(off, turning).max() < 6.0, off.round(1)
    assert np.median(off) < 4.0


def test_suppression_spares_strokes(played):
    before = played["clicks"]
    after = phone_chain._suppress(before, RATE_HZ, -20.0, 1.2)
    for second in range(1, 8):
        part = slice(second * RATE_HZ, second * RATE_HZ + 960)
        fell_db = 20 * np.log10(np.abs(before[part]).max() / np.abs(after[part]).max())
        assert 0 <= fell_db < 5.0  # measured: 3.0 to 3.6


@pytest.mark.parametrize("name", ["tone", "hiss"])
def test_slow_gain_is_that_of_a_browser(played, name):
    out = _half_seconds_db(phone_chain._slow_gain(played[name], RATE_HZ, 11.5))
    assert np.abs(np.delete(out - MEASURED[name, "gain"], [14])).max() < 3.0


def test_slow_gain_limits_peaks_and_leaves_quiet_alone(played):
    out = phone_chain._slow_gain(played["clicks"], RATE_HZ, 11.5)
    assert 0.6 < np.abs(out).max() <= 1.0
    quiet = 0.001 * np.ones(RATE_HZ, np.float32)
    assert phone_chain._slow_gain(quiet, RATE_HZ, 11.5) == pytest.approx(quiet * 10 ** (11.5 / 20), rel=1e-6)
    chosen, _ = _phone(played["tone"], agc=0.5, agc_kind="slow", agc_start_db=11.5)
    assert _half_seconds_db(chosen)[1] > -10


def test_both_kinds_of_gain_control_are_drawn():
    kinds = [draw(seed, "normal_idle").phone for seed in range(60)]
    assert {p["agc_kind"] for p in kinds if p["agc"] > 0} == {"fast", "slow"}
    assert all(8 <= p["agc_start_db"] <= 14 for p in kinds)


def test_clipping_only_when_asked():
    wave = _tone(500.0, 1.0, 0.99)
    assert np.max(np.abs(_phone(wave)[0])) < 0.97
    clipped, _ = _phone(wave, clip=True)
    assert np.mean(np.abs(clipped) > 0.999) > 0.02


def test_power_response_is_that_of_the_filtering():
    freqs = np.array([100.0, 1000.0, 7000.0])
    expected = phone_chain.power_response(PLAIN, freqs, RATE_HZ)
    for f, gain in zip(freqs, expected, strict=True):
        out, _ = _phone(_tone(f, 2.0))
        measured = np.mean(out[RATE_HZ:] ** 2) / np.mean(_tone(f, 2.0)[RATE_HZ:] ** 2)
        assert measured == pytest.approx(gain, rel=0.03)
    np.testing.assert_array_equal(phone_chain.power_response(None, freqs, RATE_HZ), np.ones(3))
