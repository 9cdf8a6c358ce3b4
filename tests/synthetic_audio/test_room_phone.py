"""Room and phone: decay times, reflections, bands, noise suppression, gain control."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt, sosfreqz

from synthetic_audio import phone as phone_chain
from synthetic_audio.randomness import generator
from synthetic_audio.room import direct_to_reverberant_db, impulse_response
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
