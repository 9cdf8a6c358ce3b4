"""Low knocks: a moving water column that is stopped, a valve disc that seats, a box that is hit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def thump(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a knock of modes in 20-300 Hz that dies within `ring_s` (-60 dB), with a duller contact noise.

    Parameters
    ----------
    p : mapping
        `low_hz`, `ring_s`, `hardness` (0 soft .. 1 hard: share of 0.3-3 kHz).
    """
    count = 5
    freqs = p["low_hz"] * np.array([1.0, 1.6, 2.3, 3.1, 4.4]) * rng.uniform(0.95, 1.05, count)
    freqs = np.minimum(freqs, 300.0 + 40 * rng.random(count))
    rings = 1000 * p["ring_s"] * (freqs[0] / freqs) ** 0.5
    body = shaping.modes(rate_hz, freqs, rings, rng.uniform(0.4, 1.0, count), rng.uniform(0, 0.6, count))
    body = np.convolve(body, shaping.force_pulse(rate_hz, 6.0, 0.4))
    body /= np.max(np.abs(body))
    contact_n = int(0.06 * rate_hz)
    contact = shaping.shaped_noise(rng, contact_n, rate_hz, shaping.hump(700.0, 1.0, 1.5))
    contact = contact * np.exp(-np.arange(contact_n) / (0.008 * rate_hz))
    body[:contact_n] += p.get("hardness", 0.3) * contact / np.max(np.abs(contact))
    return body.astype(np.float32)
