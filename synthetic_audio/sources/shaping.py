"""Building blocks of all sources: shaped noise, wave tables, damped modes, slow random walks, envelopes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import scipy.fft
from scipy.signal import oaconvolve

TABLE_N = 8192


def shaped_noise(
    rng: np.random.Generator, n: int, rate_hz: int, amplitude: Callable[[np.ndarray], np.ndarray]
) -> np.ndarray:
    """Return Gaussian noise (n,) float32 whose amplitude spectrum follows a curve, RMS 1.

    Parameters
    ----------
    amplitude : callable
        Frequency in Hz (m,) -> amplitude (m,).
    """
    if n <= 0:
        return np.zeros(0, np.float32)
    size = scipy.fft.next_fast_len(max(n, 1024), real=True)
    spectrum = scipy.fft.rfft(rng.standard_normal(size, dtype=np.float32))
    curve = amplitude(scipy.fft.rfftfreq(size, 1 / rate_hz)).astype(np.float32)
    out = scipy.fft.irfft(spectrum * curve, size)[:n]
    return (out / (np.sqrt(np.mean(curve[1:] ** 2)) + 1e-12)).astype(np.float32)


def band(low_hz: float, high_hz: float, order: float = 4.0) -> Callable[[np.ndarray], np.ndarray]:
    """Return an amplitude curve that passes a band, with edges of `order` x 6 dB per octave."""

    def curve(f: np.ndarray) -> np.ndarray:
        f = np.maximum(f, 1e-3)
        return 1 / np.sqrt((1 + (low_hz / f) ** (2 * order)) * (1 + (f / high_hz) ** (2 * order)))

    return curve


def hump(peak_hz: float, rise: float = 1.0, fall: float = 1.0) -> Callable[[np.ndarray], np.ndarray]:
    """Return an amplitude curve ~f^rise below the peak and ~f^-fall above it."""

    def curve(f: np.ndarray) -> np.ndarray:
        x = np.maximum(f, 1e-3) / peak_hz
        return x**rise / (1 + x ** (rise + fall))

    return curve


def make_table(amplitudes: Sequence[float] | np.ndarray, phases: np.ndarray) -> np.ndarray:
    """Return one cycle (TABLE_N,) of a sum of sines; entry k of `amplitudes` belongs to harmonic k + 1."""
    spectrum = np.zeros(TABLE_N // 2 + 1, complex)
    k = len(amplitudes)
    spectrum[1 : k + 1] = -0.5j * TABLE_N * np.asarray(amplitudes) * np.exp(1j * phases[:k])
    return scipy.fft.irfft(spectrum, TABLE_N)


def read_table(table: np.ndarray, cycles: np.ndarray) -> np.ndarray:
    """Look up a table at phases given in cycles (n,), with linear interpolation."""
    place = (cycles % 1.0) * TABLE_N
    index = place.astype(np.int64)
    fraction = place - index
    closed = np.append(table, table[:1])
    index = np.minimum(index, TABLE_N - 1)
    return closed[index] * (1 - fraction) + closed[index + 1] * fraction


def modes(
    rate_hz: int, freqs_hz: np.ndarray, ring_ms: np.ndarray, amplitudes: np.ndarray, phases: np.ndarray
) -> np.ndarray:
    """Return the impulse response of damped modes; `ring_ms` is the time to -60 dB."""
    n = int(rate_hz * float(np.max(ring_ms)) / 1000) + 8
    t = np.arange(n) / rate_hz
    decay = np.log(1000.0) / (np.asarray(ring_ms) / 1000)
    waves = np.exp(-decay[:, None] * t) * np.sin(
        2 * np.pi * np.asarray(freqs_hz)[:, None] * t + phases[:, None]
    )
    return np.asarray(amplitudes) @ waves


def force_pulse(rate_hz: int, pulse_ms: float, rise_ms: float = 0.06) -> np.ndarray:
    """Return a contact force: fast rise, gone after `pulse_ms`, area 1."""
    t = np.arange(max(4, int(rate_hz * pulse_ms / 1000))) / rate_hz * 1000
    pulse = (1 - np.exp(-t / rise_ms)) * np.exp(-5 * t / pulse_ms)
    return pulse / pulse.sum()


def walk(rng: np.random.Generator, n: int, rate_hz: int, speed_hz: float) -> np.ndarray:
    """Return a smooth random curve (n,), mean 0, that turns about `speed_hz` times a second."""
    points = max(4, int(n / rate_hz * speed_hz) + 4)
    knots = rng.standard_normal(points)
    place = np.linspace(0, points - 1.001, n)
    index = place.astype(int)
    x = place - index
    x = x * x * (3 - 2 * x)
    return knots[index] * (1 - x) + knots[np.minimum(index + 1, points - 1)] * x


def envelope(n: int, rate_hz: int, rise_s: float, fall_s: float) -> np.ndarray:
    """Return a level (n,) from 0 to 1 and back with raised-cosine flanks."""
    out = np.ones(n)
    up, down = min(n, max(1, int(rise_s * rate_hz))), min(n, max(1, int(fall_s * rate_hz)))
    out[:up] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(up) / up)
    out[n - down :] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(down) + 1) / down)
    return out


def strike(impulses: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    """Return impulses (n,) played through a kernel, with its tail: (n + len(kernel) - 1,)."""
    return oaconvolve(impulses, kernel)


def body_gain(freqs_hz: np.ndarray, body_hz: float, q: float = 4.0) -> np.ndarray:
    """Return how strongly a casing with resonances at 1, 2.3 and 4.1 times `body_hz` radiates."""
    f = np.maximum(np.asarray(freqs_hz, float), 1.0)
    gain = np.full_like(f, 0.5)
    for ratio, weight in ((1.0, 1.0), (2.3, 0.7), (4.1, 0.5)):
        x = f / (body_hz * ratio)
        gain = gain + weight * x / np.sqrt((1 - x**2) ** 2 + (x / q) ** 2)
    return gain
