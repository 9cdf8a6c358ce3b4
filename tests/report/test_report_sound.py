"""What is made for ears: raised hums and muted voices."""

import numpy as np
import pytest

from listen.report.sound import muted, raised, speech_spans

RATE_HZ = 16_000


def tone(hz, duration_s=4.0, level=0.1):
    return (level * np.sin(2 * np.pi * hz * np.arange(int(duration_s * RATE_HZ)) / RATE_HZ)).astype(
        np.float32
    )


def strongest_hz(samples, rate_hz):
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return np.fft.rfftfreq(len(samples), 1 / rate_hz)[spectrum.argmax()]


@pytest.mark.parametrize("hz", [50.0, 60.0, 100.0, 107.3, 120.0, 349.0])
def test_a_line_is_raised_two_octaves(hz):
    out, rate_hz = raised(tone(hz), RATE_HZ)
    assert strongest_hz(out, rate_hz) == pytest.approx(4 * hz, abs=0.5)
    assert np.abs(out).max() == pytest.approx(0.5, rel=0.01)


def test_a_raised_line_is_steady_and_ends_where_it_ended():
    sound = tone(100.0)
    sound[RATE_HZ * 2 :] = 0.0
    out, rate_hz = raised(sound, RATE_HZ)
    assert len(out) == 4 * rate_hz
    level = np.sqrt(np.convolve(out**2, np.ones(400) / 400, mode="same"))
    inside = level[int(0.3 * rate_hz) : int(1.7 * rate_hz)]
    assert inside.max() / inside.min() < 1.1
    assert level[int(2.3 * rate_hz) :].max() < 0.02 * inside.mean()


def test_two_lines_of_one_comb_stay_two():
    out, rate_hz = raised(tone(100.0) + tone(150.0), RATE_HZ)
    spectrum = np.abs(np.fft.rfft(out * np.hanning(len(out))))
    hz = np.fft.rfftfreq(len(out), 1 / rate_hz)
    wanted = spectrum[np.isin(hz, (400.0, 600.0))]
    between = spectrum[(hz > 420) & (hz < 580)].max()
    assert wanted.min() > 30 * between


def test_silence_and_nothing_stay_so():
    assert np.abs(raised(np.zeros(RATE_HZ, np.float32), RATE_HZ)[0]).max() == 0.0
    assert raised(np.zeros(0, np.float32), RATE_HZ)[0].size == 0


def event(sound, onset_s, offset_s):
    return {"sound": sound, "onset_s": onset_s, "offset_s": offset_s}


def test_speech_spans_are_widened_and_joined():
    report = {"events": [event("speech", 0.1, 1.0), event("hiss", 0, 9), event("speech", 1.5, 2.0)]}
    assert speech_spans(report) == ((0.0, 2.4),)


def test_muted_spans_are_zero_and_the_rest_is_untouched():
    sound = tone(440.0)
    out = muted(sound, RATE_HZ, [(1.0, 2.0), (3.9, 9.0)])
    assert np.all(out[RATE_HZ : 2 * RATE_HZ] == 0)
    assert np.all(out[int(3.9 * RATE_HZ) + 1 :] == 0)
    assert np.array_equal(out[: int(0.97 * RATE_HZ)], sound[: int(0.97 * RATE_HZ)])
    assert np.array_equal(out[int(2.03 * RATE_HZ) : int(3.8 * RATE_HZ)], sound[int(2.03 * RATE_HZ) : int(3.8 * RATE_HZ)])  # fmt: skip
    assert sound[RATE_HZ + 10] != 0
