"""Spectra against scipy's and librosa's short-time Fourier transforms, levels against plain numpy."""

import librosa
import numpy as np
import pytest
from scipy.signal import ShortTimeFFT, get_window

from listen.spectra import (
    ENVELOPE_BINS,
    ENVELOPE_HOP,
    ENVELOPE_N,
    FRAME_HOP,
    FRAME_N,
    LINE_HOP,
    LINE_N,
    LINE_RATE_HZ,
    LOW_HOP,
    LOW_N,
    RATE_HZ,
    SpectraStream,
    power_spectra,
    to_db,
)
from tests.support.signals import noise, tones

#: Our single precision against double precision: relative to the strongest bin of the clip.
RELATIVE = 2e-5


def stream(samples, rate_hz=RATE_HZ):
    return SpectraStream(rate_hz).push(np.asarray(samples, np.float32), last=True)


def one_sided(magnitude_squared, n):
    """Scale |X|² of a Hann window to 'sum over bins is the mean square', the convention of the module."""
    window = get_window("hann", n)
    return magnitude_squared * 2.0 / (n * np.sum(window**2))


@pytest.fixture(scope="module")
def clip():
    return (noise(2.0, 0.1, seed=1) + tones(2.0, {440.0: 0.1, 3333.0: 0.05}, seed=2)).astype(np.float32)


def test_frames_equal_scipy(clip):
    ours = stream(clip).frame_power
    transform = ShortTimeFFT(get_window("hann", FRAME_N), FRAME_HOP, RATE_HZ, fft_mode="onesided")
    theirs = one_sided(np.abs(transform.stft(clip.astype(float), p0=0, p1=len(ours))) ** 2, FRAME_N).T
    np.testing.assert_allclose(ours, theirs, atol=RELATIVE * theirs.max(), rtol=1e-3)


def test_frames_equal_librosa(clip):
    ours = stream(clip).frame_power
    theirs = librosa.stft(
        clip, n_fft=FRAME_N, hop_length=FRAME_HOP, window="hann", center=True, pad_mode="constant"
    )
    theirs = one_sided(np.abs(theirs.astype(np.complex128)) ** 2, FRAME_N).T[: len(ours)]
    assert len(theirs) == len(ours)
    np.testing.assert_allclose(ours, theirs, atol=RELATIVE * theirs.max(), rtol=1e-3)


def test_low_grid_equals_librosa_on_the_resampled_clip(clip):
    ours = stream(clip).low_power
    slow = librosa.resample(clip, orig_sr=RATE_HZ, target_sr=LINE_RATE_HZ, res_type="soxr_hq")
    theirs = librosa.stft(slow, n_fft=LOW_N, hop_length=LOW_HOP, window="hann", pad_mode="constant")
    theirs = one_sided(np.abs(theirs.astype(np.complex128)) ** 2, LOW_N).T
    n = min(len(ours), len(theirs)) - 2
    # Edges differ by what a resampler makes of the last samples.
    below = int(1700 / LINE_RATE_HZ * LOW_N)
    np.testing.assert_allclose(ours[2:n, :below], theirs[2:n, :below], atol=1e-3 * theirs.max(), rtol=1e-2)


def test_line_grid_equals_scipy_on_long_windows():
    samples = tones(6.0, {100.0: 0.1, 147.3: 0.05}, seed=3).astype(np.float32)
    ours = stream(samples).line_power
    slow = librosa.resample(samples, orig_sr=RATE_HZ, target_sr=LINE_RATE_HZ, res_type="soxr_hq")
    window = get_window("hann", LINE_N)
    for row, power in enumerate(ours):
        frame = slow[row * LINE_HOP : row * LINE_HOP + LINE_N].astype(float)
        theirs = one_sided(np.abs(np.fft.rfft(frame * window)) ** 2, LINE_N)
        np.testing.assert_allclose(power, theirs, atol=1e-3 * theirs.max())
    assert len(ours) == 1 + (len(slow) - LINE_N) // LINE_HOP


def test_envelope_equals_scipy(clip):
    ours = stream(clip).envelope_power
    transform = ShortTimeFFT(get_window("hann", ENVELOPE_N), ENVELOPE_HOP, RATE_HZ, fft_mode="onesided")
    power = one_sided(np.abs(transform.stft(clip.astype(float), p0=0, p1=len(ours))) ** 2, ENVELOPE_N)
    theirs = np.stack([power[a:b].sum(axis=0) for a, b in ENVELOPE_BINS], axis=1)
    np.testing.assert_allclose(ours, theirs, rtol=1e-3, atol=1e-8)


@pytest.mark.parametrize("n", [ENVELOPE_N, FRAME_N, LOW_N, LINE_N])
def test_power_is_conserved(n):
    frames = np.random.default_rng(n).normal(0, 0.1, (400, n)).astype(np.float32)
    mean_square = float(np.mean(frames.astype(float) ** 2))
    total = power_spectra(frames).astype(float).sum(axis=1).mean()
    # The sums count the bins at 0 Hz and at half the rate twice: one part in n / 2.
    spread = np.sqrt(2 / (400 * n * 0.5))
    assert total == pytest.approx(mean_square * (1 + 2 / n), rel=6 * spread)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000])
def test_tone_keeps_its_level_through_resampling(rate_hz):
    tone = tones(3.0, {1000.0: 0.25}, seed=4, rate_hz=rate_hz).astype(np.float32)
    expected_db = 10 * np.log10(np.mean(tone.astype(float) ** 2))
    heard = to_db(stream(tone, rate_hz).frame_power.sum(axis=1))[10:-10]
    np.testing.assert_allclose(heard, expected_db, atol=0.02)


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
def test_hum_keeps_its_level_and_place_on_the_line_grid(rate_hz):
    hum = tones(5.0, {120.0: 0.25}, seed=5, rate_hz=rate_hz).astype(np.float32)
    power = stream(hum, rate_hz).line_power
    peak_hz = np.argmax(power, axis=1) * LINE_RATE_HZ / LINE_N
    np.testing.assert_allclose(peak_hz, 120.0, atol=LINE_RATE_HZ / LINE_N)
    # The first window holds the start of the sound; its skirts lie beyond the hum itself.
    np.testing.assert_allclose(to_db(power.sum(axis=1)), 10 * np.log10(0.25**2 / 2), atol=0.1)


def test_full_scale_sine_sums_to_one_half():
    n = 16 * RATE_HZ
    sine = np.sin(2 * np.pi * 1000 * np.arange(n) / RATE_HZ)
    heard = stream(sine).frame_power.sum(axis=1)[5:-5]
    np.testing.assert_allclose(heard, 0.5, rtol=1e-4)
