"""Rooms without walls: a network of crossed delays, or velvet noise, as the tail behind the direct sound."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.signal import lfilter

from synthetic_audio.second.modes import through
from synthetic_audio.second.spec import RATE_HZ


def answer(room: dict[str, Any], rng: np.random.Generator, tail_db: float) -> np.ndarray:
    """Return an impulse response: 1 at once, then a tail whose energy is `tail_db` below that.

    Parameters
    ----------
    room : dict
        `kind` (`network` or `velvet`), `decay_s` (time to -60 dB), `dull` (0..0.9, loss of treble a pass).
    rng : numpy.random.Generator
    tail_db : float

    Returns
    -------
    ndarray of float64, shape (1.1 * decay_s * RATE_HZ,)
    """
    n = max(int(1.1 * room["decay_s"] * RATE_HZ), RATE_HZ // 20)
    tail = _network(n, room, rng) if room["kind"] == "network" else _velvet(n, room, rng)
    tail *= 10 ** (-tail_db / 20) / max(float(np.sqrt((tail**2).sum())), 1e-12)
    tail[0] += 1.0
    return tail


def _network(n: int, room: dict[str, Any], rng: np.random.Generator, lines: int = 8) -> np.ndarray:
    """Return the tail of delays of 5 to 40 ms that feed each other through a random rotation, block by block."""
    delay = np.sort(rng.choice(np.arange(241, 1900), lines, replace=False))
    turn, _ = np.linalg.qr(rng.normal(size=(lines, lines)))
    loss = 10 ** (-3 * delay / RATE_HZ / room["decay_s"])
    buffer = np.zeros((lines, n + 2000))
    buffer[:, 0] = rng.choice([-1.0, 1.0], lines)
    memory = np.zeros((lines, 1))
    out = np.zeros(n)
    block = int(delay[0])
    dull = room["dull"]
    for low in range(0, n, block):
        high = min(low + block, n)
        heard = np.zeros((lines, high - low))
        for k in range(lines):
            first = low - delay[k]
            if first + high - low > 0:
                cut = max(-first, 0)
                heard[k, cut:] = buffer[k, first + cut : first + high - low]
        heard, memory = lfilter([1 - dull], [1, -dull], heard, axis=1, zi=memory)
        out[low:high] = heard.sum(axis=0)
        buffer[:, low:high] += turn @ (heard * loss[:, None])
    return out


def _velvet(n: int, room: dict[str, Any], rng: np.random.Generator) -> np.ndarray:
    """Return sparse pulses of either sign, about 2000 a second, dying away, duller as they go."""
    gap = RATE_HZ // 2000
    at = np.arange(0, n - gap, gap)
    at = at + rng.integers(0, gap, at.size)
    out = np.zeros(n)
    out[at] = rng.choice([-1.0, 1.0], at.size)
    t = np.arange(n) / RATE_HZ
    early = out * np.exp(-6.91 * t / room["decay_s"])
    late = lfilter([1 - room["dull"]], [1, -room["dull"]], early)
    share = np.minimum(t / room["decay_s"], 1)
    return early * (1 - share) + late * share


def play(wave: np.ndarray, response: np.ndarray) -> np.ndarray:
    """Return a wave as the room answers it, with the room's tail after its end, float32."""
    out = through(np.concatenate([wave, np.zeros(response.size)]), response)
    return out.astype(np.float32)
