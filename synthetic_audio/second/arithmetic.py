"""Noise without a noise generator: a chaotic lattice, an oscillator that modulates itself, a cellular automaton."""

from __future__ import annotations

import numpy as np
import scipy.fft


def _level(wave: np.ndarray) -> np.ndarray:
    wave = wave - wave.mean()
    return (wave / np.abs(wave).max()).astype(np.float32)


def chaotic(n: int, rng: np.random.Generator, sites: int = 256) -> np.ndarray:
    """Return `n` samples of a ring of coupled logistic maps, read site after site."""
    state = rng.uniform(0.05, 0.95, sites)
    rows = np.empty((-(-n // sites), sites))
    for k in range(-64, len(rows)):
        grown = 3.99 * state * (1 - state)
        state = 0.96 * grown + 0.02 * (np.roll(grown, 1) + np.roll(grown, -1))
        if k >= 0:
            rows[k] = state[rng.permutation(sites)]
    return _level(rows.ravel()[:n])


def self_modulated(n: int, rng: np.random.Generator, lanes: int = 192) -> np.ndarray:
    """Return `n` samples of sines whose phase is pushed by their own last value, lane after lane.

    Past an index of about 2 the sine breaks into noise; each lane has its own pitch and index.
    """
    step = rng.uniform(0.05, 2.9, lanes)
    index = rng.uniform(3.0, 9.0, lanes)
    phase = rng.uniform(0, 2 * np.pi, lanes)
    value = np.zeros(lanes)
    rows = np.empty((-(-n // lanes), lanes))
    for k in range(len(rows)):
        phase = phase + step
        value = np.sin(phase + index * value)
        rows[k] = value
    return _level(_white(rows.T.ravel()[:n]))


def cellular(n: int, rng: np.random.Generator, width: int = 4096) -> np.ndarray:
    """Return `n` samples read from rule 30 (each cell: left xor (centre or right)), 12 cells a sample."""
    cells = rng.random(width) < 0.5
    a_row = width // 16
    weight = 2.0 ** -np.arange(12)
    rows = np.empty((-(-n // a_row), a_row))
    for k in range(len(rows)):
        cells = np.roll(cells, 1) ^ (cells | np.roll(cells, -1))
        rows[k] = cells.reshape(a_row, 16)[:, :12] @ weight
    return _level(rows.ravel()[:n])


def _white(wave: np.ndarray) -> np.ndarray:
    """Return the wave with its broad colour taken out (magnitudes divided by their average over 400 bins)."""
    spectrum = scipy.fft.rfft(wave)
    size = np.convolve(np.abs(spectrum), np.ones(401) / 401, mode="same")
    return scipy.fft.irfft(spectrum / np.maximum(size, 1e-6 * size.max()), wave.size)
