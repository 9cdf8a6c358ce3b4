"""The burst at the end of a loaded brew: the chamber above the puck empties through its drain valve."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def burst(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a burst of noise in 1-10 kHz that decays exponentially.

    The flow through a hole from a chamber without supply falls about exponentially, and
    the noise with it; the fall to -20 dB takes `for_s`. Foam adds a wet low part near the end.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `attack_ms`, `wet` (0..1).
    """
    n = int(1.6 * for_s * rate_hz)
    low = shaping.band(900.0, 10_500.0, 2.0)
    peak = shaping.hump(p["peak_hz"], 1.0, 1.0)
    wave = shaping.shaped_noise(rng, n, rate_hz, lambda f: low(f) * peak(f))
    t = np.arange(n) / rate_hz
    wave *= 10 ** (-t / for_s)
    wet = shaping.shaped_noise(rng, n, rate_hz, shaping.band(300.0, 2500.0, 2.0))
    wet *= np.exp(0.6 * shaping.walk(rng, n, rate_hz, 25.0)) * (t / for_s) * 10 ** (-1.2 * t / for_s)
    wave += p.get("wet", 0.4) * 0.5 * wet
    return (wave * shaping.envelope(n, rate_hz, p.get("attack_ms", 6.0) / 1000, 0.1 * for_s)).astype(
        np.float32
    )
