"""Colours, slow moves and turning tables for household sounds: rough where ears are, and quick to make.

A household sound lasts as long as its clip, so all here is drawn on coarse grids
and stretched: a colour has a few hundred points, a drift a few a second.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from scipy.signal import butter, resample_poly, sosfilt

from synthetic_audio.sources import shaping

_GRID_HZ = np.geomspace(20.0, 24_000.0, 400)
_CONTROL_HZ = 200
_TABLE_N = 4096


def colour_db(
    rng: np.random.Generator, knee_hz: float, fall_db: float, rough_db: float, nodes: int = 16
) -> np.ndarray:
    """Return a colour over the grid of :func:`noise`: a bend at a knee, and random hills on it.

    Parameters
    ----------
    rng : np.random.Generator
    knee_hz, fall_db : float
        Above the knee it falls by so much an octave, below it by half as much.
    rough_db : float
        The hills' deviation.
    nodes : int
        How many hills fit between 20 Hz and 24 kHz.

    Returns
    -------
    np.ndarray [shape=(400,)]
    """
    away = octaves(knee_hz)
    hills = np.interp(away, np.linspace(away[0], away[-1], nodes), rough_db * rng.standard_normal(nodes))
    return hills - fall_db * np.where(away > 0, away, -0.5 * away)


def octaves(hz: float) -> np.ndarray:
    """Return how far the grid's points lie above `hz`, in octaves."""
    return np.log2(_GRID_HZ / hz)


def peak_db(hz: float, width_octaves: float, height_db: float, fall_db: float = 0.0) -> np.ndarray:
    """Return a hill at `hz` on the grid of :func:`noise`, from which the level falls `fall_db` an octave."""
    away = octaves(hz)
    return height_db / (1 + (away / width_octaves) ** 2) - fall_db * np.abs(away)


def comb_db(delay_ms: float, depth: float) -> np.ndarray:
    """Return what one echo does to a colour; above what the grid resolves it is left out."""
    turn = 2 * np.pi * _GRID_HZ * delay_ms / 1000
    clear = np.clip(1.5 - turn / 120, 0.0, 1.0)
    return 20 * np.log10(np.abs(1 + depth * clear * np.exp(-1j * turn)) + 1e-3)


def noise(rng: np.random.Generator, n: int, rate_hz: int, colour: np.ndarray) -> np.ndarray:
    """Return noise (n,) float32 of a colour in dB on the grid, RMS 1."""
    if n <= 0:
        return np.zeros(0, np.float32)
    gain = 10 ** ((colour - colour.max()) / 20)
    gain[_GRID_HZ < 30] *= 0.3
    # Drawn as a spectrum at once: the spectrum of white noise is white noise.
    size = scipy.fft.next_fast_len(max(n, 1024), real=True)
    bins = size // 2 + 1
    curve = np.interp(np.arange(bins) * (rate_hz / size), _GRID_HZ, gain, left=0.0).astype(np.float32)
    curve *= np.float32(size / (2 * np.sqrt(np.sum(curve**2, dtype=np.float64))))
    spectrum = rng.standard_normal(2 * bins, dtype=np.float32).view(np.complex64)
    spectrum *= curve
    return scipy.fft.irfft(spectrum, size)[:n]


def drift(rng: np.random.Generator, n: int, rate_hz: int, depth_db: float, speed_hz: float) -> np.ndarray:
    """Return a gain (n,) that wanders by `depth_db` (deviation), turning `speed_hz` times a second."""
    # What turns faster than the control rate can follow needs more points.
    control_hz = max(_CONTROL_HZ, 8 * speed_hz)
    points = max(8, int(n / rate_hz * control_hz))
    slow = 10 ** (depth_db * shaping.walk(rng, points, int(control_hz), speed_hz) / 20)
    return stretch(slow, n)


def stretch(curve: np.ndarray, n: int) -> np.ndarray:
    """Return a coarse curve stretched to (n,), float32."""
    return np.interp(np.arange(n), np.linspace(0, max(1, n - 1), len(curve)), curve).astype(np.float32)


def turning(
    rng: np.random.Generator, hz: np.ndarray, rate_hz: int, amplitudes: np.ndarray, scatter: float = 1.0
) -> np.ndarray:
    """Return a harmonic sound, RMS about 1, whose fundamental follows a curve.

    Parameters
    ----------
    rng : np.random.Generator
    hz : np.ndarray [shape=(n,)]
    rate_hz : int
    amplitudes : np.ndarray
        Entry k belongs to harmonic k + 1.
    scatter : float
        Of the harmonics' phases: 0 makes sharp pulses, 1 none.

    Returns
    -------
    np.ndarray [shape=(n,)], float32
    """
    # Harmonics that pass half the rate would fold back.
    count = max(1, min(len(amplitudes), int(0.45 * rate_hz / max(1.0, float(np.max(hz, initial=1.0))))))
    spectrum = np.zeros(_TABLE_N // 2 + 1, complex)
    spectrum[1 : count + 1] = amplitudes[:count] * np.exp(2j * np.pi * scatter * rng.random(count))
    table = scipy.fft.irfft(spectrum, _TABLE_N).astype(np.float32)
    table /= np.std(table) + 1e-12
    cycles = np.cumsum(hz, dtype=np.float64) * (_TABLE_N / rate_hz)
    return table[cycles.astype(np.int64) & (_TABLE_N - 1)]


def marks(rng: np.random.Generator, n: int, count: int, spread_db: float) -> np.ndarray:
    """Return random impulses (n,) of either sign, at random times."""
    sizes = 10 ** (spread_db * rng.standard_normal(count) / 20) * rng.choice([-1.0, 1.0], count)
    return np.bincount(rng.integers(0, max(1, n), count), sizes, minlength=n)[:n]


def put(out: np.ndarray, at: int, wave: np.ndarray, gain: float = 1.0) -> None:
    """Add a wave to `out` from sample `at` on; what lies outside is cut."""
    if at < 0:
        at, wave = 0, wave[-at:]
    part = out[at : at + len(wave)]
    part += gain * wave[: len(part)]


def ends(wave: np.ndarray, rate_hz: int, rise_s: float, fall_s: float) -> np.ndarray:
    """Return the wave faded in and out, float32."""
    wave = wave.astype(np.float32)
    up, down = (max(2, min(len(wave) // 2, int(s * rate_hz))) for s in (rise_s, fall_s))
    wave[:up] *= np.sin(np.linspace(0, np.pi / 2, up))[: len(wave)] ** 2
    wave[len(wave) - down :] *= np.cos(np.linspace(0, np.pi / 2, down))[: len(wave)] ** 2
    return wave


def unit(wave: np.ndarray) -> np.ndarray:
    """Return the wave at RMS 1."""
    return wave / (np.sqrt(np.mean(np.square(wave, dtype=np.float64))) + 1e-12)


def raised(wave: np.ndarray, times: int, n: int) -> np.ndarray:
    """Return a wave that was made at a lower rate, at `times` that rate and (n,) long."""
    out = resample_poly(wave.astype(np.float32), times, 1)[:n]
    return np.pad(out, (0, n - len(out)))


def limited(wave: np.ndarray, rate_hz: int, low_hz: float, high_hz: float) -> np.ndarray:
    """Return what a small loudspeaker lets through."""
    high_hz = min(high_hz, 0.45 * rate_hz)
    low_hz = min(low_hz, high_hz / 2)
    return sosfilt(butter(2, (low_hz, high_hz), "bandpass", fs=rate_hz, output="sos"), wave)
