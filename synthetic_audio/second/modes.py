"""Struck bodies: banks of decaying modes, set off by short pulses of force.

A bank is drawn from the statistics of a body, not from its geometry: plates and
housings have a constant number of modes per hertz whose neighbours repel (the
Wigner spacing of random matrices), bars have the stretched series of a free beam.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import oaconvolve

from synthetic_audio.second.spec import RATE_HZ

#: Free-free beam (Euler-Bernoulli), beta*L/pi of the first modes is close to n + 1/2 (handbook value).
_BEAM_FIRST = 1.50562


@dataclass(frozen=True, slots=True)
class Bank:
    """Modes of a body: frequencies in Hz, decay times to 1/e in s, amplitudes; each of shape (m,)."""

    frequency_hz: np.ndarray
    decay_s: np.ndarray
    gain: np.ndarray


def plate(
    rng: np.random.Generator,
    low_hz: float,
    high_hz: float,
    n_modes: int,
    decay_s: float,
    *,
    tilt_db_per_octave: float = 0.0,
) -> Bank:
    """Return a bank with evenly dense modes from `low_hz` to `high_hz`; `decay_s` holds at their middle."""
    gaps = np.sqrt(-4 / np.pi * np.log(1 - rng.random(n_modes + 1)))
    frequency = low_hz + (high_hz - low_hz) * np.cumsum(gaps)[:-1] / gaps.sum()
    middle = np.sqrt(low_hz * high_hz)
    decay = decay_s * (middle / frequency) ** 0.5 * rng.lognormal(0, 0.35, n_modes)
    gain = rng.normal(0, 1, n_modes) * (frequency / middle) ** (tilt_db_per_octave / 6.02)
    return Bank(frequency, np.minimum(decay, 3 * decay_s), gain)


def bar(rng: np.random.Generator, first_hz: float, high_hz: float, decay_s: float) -> Bank:
    """Return the bank of a free bar, `first_hz` its lowest mode, up to `high_hz`."""
    n = np.arange(1, 40)
    frequency = first_hz * ((n + 0.5) / _BEAM_FIRST) ** 2 * rng.normal(1, 0.01, n.size)
    frequency = np.sort(frequency[frequency < high_hz])
    gain = rng.normal(0, 1, frequency.size) + np.sign(rng.random(frequency.size) - 0.5)
    return Bank(
        frequency, decay_s * (first_hz / frequency) ** 0.6, gain / (1 + np.arange(frequency.size)) ** 0.4
    )


def respond(bank: Bank, length_s: float) -> np.ndarray:
    """Return the bank's answer to one unit impulse, shape (length_s * RATE_HZ,), peak 1."""
    t = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    angle = 2 * np.pi * bank.frequency_hz[:, None] * t
    wave = (bank.gain[:, None] * np.exp(-t / bank.decay_s[:, None]) * np.sin(angle)).sum(axis=0)
    return wave / max(np.abs(wave).max(), 1e-12)


def push(contact_s: float) -> np.ndarray:
    """Return the half-sine of force of one contact, area 1."""
    n = max(2, int(contact_s * RATE_HZ))
    half = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    return half / half.sum()


def place(times_s: np.ndarray, sizes: np.ndarray, n: int) -> np.ndarray:
    """Return `n` samples with pulses set between samples by linear shares; those outside are dropped."""
    at = np.asarray(times_s) * RATE_HZ
    low = np.floor(at).astype(int)
    keep = (low >= 0) & (low < n - 1)
    low, share, size = low[keep], (at - low)[keep], np.asarray(sizes)[keep]
    out = np.zeros(n)
    np.add.at(out, low, (1 - share) * size)
    np.add.at(out, low + 1, share * size)
    return out


def strike(
    bank: Bank, times_s: np.ndarray, sizes: np.ndarray, contact_s: float, length_s: float
) -> np.ndarray:
    """Return the sound of a body hit at `times_s` with `sizes`, shape (length_s * RATE_HZ,)."""
    n = int(length_s * RATE_HZ)
    force = through(place(times_s, sizes, n), push(contact_s))
    longest = min(length_s, 7 * float(bank.decay_s.max()) + 0.002)
    return through(force, respond(bank, longest))


def through(wave: np.ndarray, answer: np.ndarray) -> np.ndarray:
    """Return a wave convolved with an impulse's answer, cut to the wave's own length."""
    return oaconvolve(wave, answer)[: wave.size]


def unit(wave: np.ndarray) -> np.ndarray:
    """Return the wave with its peak at 1, as float32."""
    return (wave / max(np.abs(wave).max(), 1e-12)).astype(np.float32)
