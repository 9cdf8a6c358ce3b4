"""What sets in at once and is no stroke: a noise or a tone that is switched on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def noise(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return noise around `peak_hz` (edges of `edge` x 6 dB an octave) that begins within `rise_ms`.

    With `decay_s` it falls by 20 dB in that time, with `flutter_hz` and `flutter` (0..1) its level moves.
    """
    wave = shaping.shaped_noise(
        rng, int(for_s * rate_hz), rate_hz, shaping.hump(p["peak_hz"], p["edge"], p["edge"])
    )
    if "decay_s" in p:
        wave = wave * 10 ** (-np.arange(len(wave)) / (p["decay_s"] * rate_hz))
    if p.get("flutter"):
        moving = shaping.walk(rng, len(wave), rate_hz, p["flutter_hz"])
        wave = wave * np.clip(1 + p["flutter"] * moving, 0.05, None)
    return _switched(wave, rate_hz, p["rise_ms"])


def tone(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a tone of `tone_hz` with a few harmonics that begins within `rise_ms`."""
    t = np.arange(int(for_s * rate_hz)) / rate_hz
    wave = np.zeros(len(t))
    for k in range(1, 5):
        if k * p["tone_hz"] < 0.45 * rate_hz:
            wave += rng.uniform(0, 1) ** k * np.sin(2 * np.pi * k * p["tone_hz"] * t)
    return _switched(wave, rate_hz, p["rise_ms"])


def _switched(wave: np.ndarray, rate_hz: int, rise_ms: float) -> np.ndarray:
    n = min(len(wave) // 2, max(2, int(rise_ms * rate_hz / 1000)))
    edge = np.sin(np.linspace(0, np.pi / 2, n)) ** 2
    wave = wave.astype(np.float32)
    wave[:n] *= edge
    wave[len(wave) - n :] *= edge[::-1]
    return wave
