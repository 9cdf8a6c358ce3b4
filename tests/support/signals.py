"""Synthesised sounds for tests of features and ear: noise, lines, clicks, motors.

Levels are linear, times in s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from listen.features.collect import ClipFeatures, Collector

RATE_HZ = 32_000


def collect(samples: np.ndarray, rate_hz: int = RATE_HZ, block_s: float | None = None) -> ClipFeatures:
    """Features of samples (n,), pushed whole or in blocks of `block_s`."""
    samples = np.asarray(samples, np.float32)
    collector = Collector(rate_hz)
    step = len(samples) if block_s is None else round(block_s * rate_hz)
    for start in range(0, len(samples), max(step, 1)):
        collector.push(samples[start : start + step])
    return collector.finish()


def noise(duration_s: float, rms: float, seed: int, rate_hz: int = RATE_HZ) -> np.ndarray:
    """White Gaussian noise (n,)."""
    return np.random.default_rng(seed).normal(0.0, rms, round(duration_s * rate_hz))


def band_noise(
    duration_s: float, rms: float, seed: int, low_hz: float, high_hz: float, rate_hz: int = RATE_HZ
) -> np.ndarray:
    """Gaussian noise (n,) with nothing outside a band."""
    spectrum = np.fft.rfft(noise(duration_s, 1.0, seed, rate_hz))
    hz = np.fft.rfftfreq(round(duration_s * rate_hz), 1 / rate_hz)
    spectrum[(hz < low_hz) | (hz > high_hz)] = 0.0
    samples = np.fft.irfft(spectrum, round(duration_s * rate_hz))
    return samples * rms / np.sqrt(np.mean(samples**2))


def tones(
    duration_s: float, amplitudes: Mapping[float, float], seed: int, rate_hz: int = RATE_HZ
) -> np.ndarray:
    """Sum of sines (n,), frequency in Hz → amplitude, with random phases."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(duration_s * rate_hz)) / rate_hz
    out = np.zeros(len(t))
    for hz, amplitude in amplitudes.items():
        out += amplitude * np.sin(2 * np.pi * hz * t + rng.uniform(0, 2 * np.pi))
    return out


def comb(
    fundamental_hz: float, multiples: Sequence[int], amplitude: float, tilt: float = 0.5
) -> dict[float, float]:
    """Frequency → amplitude of chosen multiples, falling as multiple^-tilt."""
    return {fundamental_hz * k: amplitude * k**-tilt for k in multiples}


def motor(
    mains_hz: float,
    poles: int,
    slip: float,
    amplitude: float = 0.01,
    multiples: Sequence[int] = tuple(range(1, 13)),
) -> dict[float, float]:
    """Lines of a turning induction motor: its shaft comb that slips, and the locked 2f, 4f of its coil."""
    shaft_hz = 2.0 * mains_hz / poles * (1.0 - slip)
    return comb(shaft_hz, multiples, amplitude) | comb(2 * mains_hz, (1, 2), amplitude)


def click(amplitude: float, seed: int, decay_s: float = 0.004, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A struck part: broadband burst with an exponential decay (n,), about 12 time constants long."""
    n = round(12 * decay_s * rate_hz)
    shape = np.exp(-np.arange(n) / rate_hz / decay_s)
    return amplitude * shape * np.random.default_rng(seed).uniform(-1.0, 1.0, n)


def put(samples: np.ndarray, piece: np.ndarray, at_s: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return `samples` with `piece` added from `at_s` on."""
    out = np.array(samples, np.float64)
    start = round(at_s * rate_hz)
    piece = piece[: max(0, len(out) - start)]
    out[start : start + len(piece)] += piece
    return out


def within(samples: np.ndarray, start_s: float, stop_s: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Keep a sound only between two times, with 5 ms ramps (the rest is silence)."""
    t = np.arange(len(samples)) / rate_hz
    ramp = np.clip((t - start_s) / 0.005, 0, 1) * np.clip((stop_s - t) / 0.005, 0, 1)
    return np.asarray(samples) * ramp
