"""Coils on alternating current: the hum of a held armature, the buzz of one that does not come home.

References
----------
Force of a singly excited magnet is proportional to B^2, so with a sinusoidal flux
F(t) = F0 (1 - cos(2 w t)): a mean and a part at twice the mains frequency (standard
text on energy conversion). A shading ring splits the pole: the shaded part r has a flux
that lags by a, so the alternating share of the total force is
|1 + r exp(-2ja)| / (1 + r). Direct-current coils make no sound while held.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def alternating_share(ratio: float, lag_deg: float) -> float:
    """Return the alternating share of the force of a shaded pole, 0..1.

    Examples
    --------
    >>> round(alternating_share(1.0, 90.0), 6), round(alternating_share(0.0, 0.0), 6)
    (0.0, 1.0)
    """
    return float(abs(1 + ratio * np.exp(-2j * np.deg2rad(lag_deg))) / (1 + ratio))


def _cycles(n: int, rate_hz: int, p: Mapping[str, Any]) -> np.ndarray:
    """Phase of the supply in cycles, continuous over the whole scene."""
    return p["mains_hz"] * (p["at_s"] + np.arange(n) / rate_hz)


def hum(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return lines at 2f, 4f, 6f ... of a held coil or a motor's core.

    Parameters
    ----------
    p : mapping
        `mains_hz`, `at_s`, `tilt_db` (fall per octave), `lines`, `body_hz`;
        optionally `slip_hz` and `slip_depth`: the beat of a loaded rotor at twice its slip rate.
    """
    n = int(for_s * rate_hz)
    k = np.arange(1, int(p.get("lines", 5)) + 1)
    gains = shaping.body_gain(2 * p["mains_hz"] * k, p["body_hz"]) * rng.uniform(0.7, 1.3, len(k))
    amplitudes = k ** (-p["tilt_db"] / 6.02) * gains / gains[0]
    table = shaping.make_table(amplitudes, rng.uniform(0, 2 * np.pi, len(k)))
    cycles = _cycles(n, rate_hz, p)
    wave = shaping.read_table(table, 2 * cycles)
    if p.get("slip_depth"):
        t = np.arange(n) / rate_hz
        wave *= 1 + p["slip_depth"] * np.cos(2 * np.pi * p["slip_hz"] * t + rng.uniform(0, 6.28))
    wave *= shaping.envelope(n, rate_hz, p.get("rise_s", 0.01), p.get("fall_s", 0.01))
    return wave.astype(np.float32)


def buzz(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return impacts in every half cycle: a rich comb on the mains, k x 2f with weaker odd multiples of f.

    Parameters
    ----------
    p : mapping
        `mains_hz`, `at_s`, `tilt_db`, `body_hz`, `uneven` (0..0.4, difference between half cycles).
    """
    n = int(for_s * rate_hz)
    k = np.arange(1, int(6000 / p["mains_hz"]))
    gains = shaping.body_gain(p["mains_hz"] * k, p["body_hz"])
    amplitudes = k ** (-p["tilt_db"] / 6.02) * gains * rng.uniform(0.7, 1.3, len(k))
    amplitudes[k % 2 == 1] *= p.get("uneven", 0.2)
    # An impact is a pulse: its harmonics stand nearly in phase.
    table = shaping.make_table(amplitudes, np.pi / 2 + rng.normal(0, 0.5, len(k)))
    wave = shaping.read_table(table, _cycles(n, rate_hz, p))
    wave *= 1 + 0.12 * shaping.walk(rng, n, rate_hz, 6.0)
    wave *= shaping.envelope(n, rate_hz, 0.02, 0.015)
    return wave.astype(np.float32)


def arcing(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return an irregular sizzle in which every half cycle strikes anew, or does not."""
    n = int(for_s * rate_hz)
    marks = np.zeros(n)
    for half in range(int(2 * p["mains_hz"] * for_s)):
        if rng.random() < 0.55:
            at = int((half + 0.3 + 0.2 * rng.random()) / (2 * p["mains_hz"]) * rate_hz)
            marks[min(at, n - 1)] = rng.lognormal(0, 0.8)
    kernel = rng.standard_normal(int(0.003 * rate_hz)) * np.exp(
        -np.arange(int(0.003 * rate_hz)) / (0.0008 * rate_hz)
    )
    gate = np.clip(0.7 + shaping.walk(rng, n, rate_hz, 3.0), 0, 2)
    return (shaping.strike(marks * gate, kernel)[:n]).astype(np.float32)
