"""Anything hard that is struck: far more kinds of stroke than machines have, for learning what a click is.

A stroke is a short contact (or several, by bounce) that drives any number of
damped modes over any range, with or without noise of the contact and a dull
body behind. What makes it a click is only that it is over soon.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def struck(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return one stroke.

    Parameters
    ----------
    p : mapping
        `low_hz`, `high_hz`, `modes` (range and count of what rings), `ring_ms` (-60 dB, at 1 kHz),
        `ring_fall` (how much sooner higher modes die: power of frequency), `tilt_db` (per octave),
        `contact_ms`, `bounces`, `gap_ms`, `noise` (share, 0..1), `noise_ms`, `body` (share), `attack_ms`.
    """
    count = int(p["modes"])
    top_hz = min(p["high_hz"], 0.45 * rate_hz)
    freqs = np.exp(rng.uniform(np.log(p["low_hz"]), np.log(max(top_hz, 1.1 * p["low_hz"])), count))
    rings = np.clip(p["ring_ms"] * (1000.0 / freqs) ** p["ring_fall"], 1.5, 800.0)
    gains = 10 ** (p["tilt_db"] * np.log2(freqs / freqs.min()) / 20) * rng.uniform(0.2, 1.0, count)
    out = _unit(shaping.modes(rate_hz, freqs, rings, gains, rng.uniform(0, 2 * np.pi, count)))
    noise_n = max(8, int(6 * p["noise_ms"] * rate_hz / 1000))
    noise = shaping.shaped_noise(rng, noise_n, rate_hz, shaping.hump(np.sqrt(p["low_hz"] * top_hz), 2.0, 1.5))
    noise *= np.exp(-np.arange(noise_n) / (p["noise_ms"] * rate_hz / 1000))
    out = _plus(out, p["noise"] * _unit(noise))
    if p["body"] > 0:
        dull = np.exp(rng.uniform(np.log(120.0), np.log(900.0), 4))
        body = shaping.modes(rate_hz, dull, rng.uniform(8.0, 60.0, 4), np.ones(4), rng.uniform(0, 6.28, 4))
        out = _plus(out, p["body"] * _unit(body))
    force = _contacts(rng, rate_hz, p)
    wave = np.convolve(out, force)
    rise = int(p["attack_ms"] * rate_hz / 1000)
    if rise > 1:
        wave = np.convolve(wave, np.hanning(rise + 2))
    return wave.astype(np.float32)


def _contacts(rng: np.random.Generator, rate_hz: int, p: Mapping[str, Any]) -> np.ndarray:
    """Return the force of a contact and its bounces, each weaker and sooner than the last."""
    width = max(2, int(p["contact_ms"] * rate_hz / 1000))
    pulse = np.sin(np.pi * (np.arange(width) + 0.5) / width)
    gaps = p["gap_ms"] * rng.uniform(0.5, 1.5) * 0.75 ** np.arange(int(p["bounces"]))
    sizes = rng.uniform(0.2, 0.9, int(p["bounces"])).cumprod()
    times = (np.concatenate([[0.0], np.cumsum(gaps)]) * rate_hz / 1000).astype(int)
    force = np.zeros(times[-1] + width)
    for at, size in zip(times, [1.0, *sizes], strict=True):
        force[at : at + width] += size * pulse
    return force


def _unit(wave: np.ndarray) -> np.ndarray:
    return wave / (np.max(np.abs(wave)) + 1e-12)


def _plus(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    out = np.zeros(max(len(a), len(b)))
    out[: len(a)] += a
    out[: len(b)] += b
    return out
