"""Small measuring helpers, written apart from the synthesiser's own."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks, get_window, welch

RATE_HZ = 48_000


def fine_spectrum(wave: np.ndarray, rate_hz: int = RATE_HZ) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies and power of the whole wave under a Blackman-Harris window, zero-padded fourfold."""
    n = len(wave)
    power = np.abs(np.fft.rfft(wave * get_window("blackmanharris", n), 4 * n)) ** 2
    return np.fft.rfftfreq(4 * n, 1 / rate_hz), power


def line_power(freqs: np.ndarray, power: np.ndarray, at_hz: float, width_hz: float) -> float:
    """Return the power within +-width of a frequency."""
    return float(power[np.abs(freqs - at_hz) <= width_hz].sum())


def strongest_line_hz(wave: np.ndarray, low_hz: float, high_hz: float) -> float:
    """Return where the strongest line of a band stands."""
    freqs, power = fine_spectrum(wave)
    inside = (freqs >= low_hz) & (freqs <= high_hz)
    return float(freqs[inside][np.argmax(power[inside])])


def lines_hz(wave: np.ndarray, below_hz: float, down_db: float) -> np.ndarray:
    """Return all lines within `down_db` of the strongest, below a frequency."""
    freqs, power = fine_spectrum(wave)
    level = 10 * np.log10(power[freqs < below_hz] + 1e-20)
    step = freqs[1]
    peaks, _ = find_peaks(level, height=level.max() - down_db, distance=int(8 / step), prominence=12)
    return freqs[peaks]


def level_db(wave: np.ndarray, window_s: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return the moving RMS level in dB, one value a sample."""
    n = max(1, int(window_s * rate_hz))
    power = uniform_filter1d(wave.astype(float) ** 2, n, mode="constant")
    return 10 * np.log10(np.maximum(power, 1e-16))


def density_db(wave: np.ndarray, centres_hz: list[float], rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return the power density in dB around frequencies (averaged over a third of an octave)."""
    freqs, power = welch(wave, rate_hz, nperseg=16_384)
    out = [power[(freqs > c / 1.12) & (freqs < c * 1.12)].mean() for c in centres_hz]
    return 10 * np.log10(np.array(out))


def centroid_hz(wave: np.ndarray, rate_hz: int = RATE_HZ) -> float:
    """Return the centre of the power spectrum."""
    freqs, power = welch(wave, rate_hz, nperseg=min(4096, len(wave)))
    return float((freqs * power).sum() / power.sum())
