"""Anything that is made of many small sounds: drops, bubbles, crumbs, spray.

Grains come at random or nearly evenly, at any rate; each rings at a frequency of
its own or is a breath of noise. Dense clouds are noise, sparse ones rattle.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping

_KINDS = 10


def grains(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a cloud of grains.

    Parameters
    ----------
    p : mapping
        `grains_hz` (a second), `centre_hz`, `octaves` (deviation of the grains' frequencies), `ring_ms`
        (-60 dB), `noise` (share of grains that are noise), `spread_db` (of their strengths), `rise_ms`,
        `decay_s` (to -20 dB; optional), `grow_db` (over its length; optional), `flutter`, `flutter_hz`.
    """
    n = int(for_s * rate_hz)
    out = np.zeros(n)
    for _ in range(_KINDS):
        hz = float(
            np.clip(p["centre_hz"] * 2 ** (p["octaves"] * rng.standard_normal()), 80.0, 0.42 * rate_hz)
        )
        kernel = _grain(rng, rate_hz, hz, p["ring_ms"] * rng.uniform(0.5, 1.5), rng.random() < p["noise"])
        count = rng.poisson(p["grains_hz"] * for_s / _KINDS)
        marks = np.bincount(
            rng.integers(0, n, count), 10 ** (p["spread_db"] * rng.standard_normal(count) / 20), minlength=n
        ) * rng.choice([-1.0, 1.0])
        out += shaping.strike(marks, kernel)[:n]
    t = np.arange(n) / max(1, n)
    level_db = p.get("grow_db", 0.0) * t
    if "decay_s" in p:
        level_db = level_db - 20 * t * for_s / p["decay_s"]
    out *= 10 ** (level_db / 20)
    if p.get("flutter"):
        out *= np.clip(1 + p["flutter"] * shaping.walk(rng, n, rate_hz, p["flutter_hz"]), 0.03, None)
    edge_n = min(n // 2, max(2, int(p["rise_ms"] * rate_hz / 1000)))
    edge = np.sin(np.linspace(0, np.pi / 2, edge_n)) ** 2
    out[:edge_n] *= edge
    out[n - edge_n :] *= edge[::-1]
    return out.astype(np.float32)


def _grain(rng: np.random.Generator, rate_hz: int, hz: float, ring_ms: float, noisy: bool) -> np.ndarray:
    if noisy:
        size = max(16, int(ring_ms * rate_hz / 1000))
        wave = shaping.shaped_noise(rng, size, rate_hz, shaping.hump(hz, 1.5, 1.5))
        return wave * np.exp(-6.9 * np.arange(size) / size)
    one = np.ones(1)
    return shaping.modes(rate_hz, np.array([hz]), ring_ms * one, one, rng.uniform(0, 6.28, 1))
