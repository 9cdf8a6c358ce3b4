"""Water: drips, flow, splutter, gurgle, boiling, and bubbles that collapse in a starved pump.

References
----------
A bubble of radius a rings at f = (1 / 2 pi a) sqrt(3 g p / rho), about 3.26 m/s over a
(Minnaert 1933); 1 mm gives 3.3 kHz. Its loss factor is some 0.014 + 1.1e-5 f (a common fit,
from memory). Cavitation noise is a dense train of random impulses, 1-10 kHz (published pump studies).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping

GAMMA, PRESSURE_PA, DENSITY_KG_M3 = 1.4, 101_325.0, 998.0


def bubble_hz(radius_m: float) -> float:
    """Return the ring frequency of an air bubble in water.

    Examples
    --------
    >>> round(bubble_hz(0.001))
    3287
    """
    return float(np.sqrt(3 * GAMMA * PRESSURE_PA / DENSITY_KG_M3) / (2 * np.pi * radius_m))


def _bubble(rng: np.random.Generator, rate_hz: int, radius_m: float) -> np.ndarray:
    f = min(bubble_hz(radius_m), 0.4 * rate_hz)
    loss = 0.014 + 1.1e-5 * f
    decay = np.pi * f * loss
    t = np.arange(int(min(0.08, 6 / decay) * rate_hz) + 4) / rate_hz
    # The bubble rises and its pitch with it.
    chirp = f * (1 + 0.1 * rng.random() * decay * t)
    phase = 2 * np.pi * np.cumsum(np.minimum(chirp, 0.45 * rate_hz)) / rate_hz
    return np.sin(phase) * np.exp(-decay * t)


def _scatter(
    rng: np.random.Generator,
    rate_hz: int,
    n: int,
    per_s: np.ndarray | float,
    kernels: list[np.ndarray],
    spread: float,
) -> np.ndarray:
    """Return kernels thrown at random times (Poisson, thinned where the rate varies), strengths log-normal."""
    rate = np.broadcast_to(np.asarray(per_s, float), (n,))
    highest = float(rate.max(initial=0.0))
    hits = rng.integers(0, max(n, 1), rng.poisson(highest * n / rate_hz))
    hits = hits[rng.random(len(hits)) * highest < rate[hits]]
    strengths = rng.lognormal(0, spread, len(hits)) * rng.choice([-1.0, 1.0], len(hits))
    which = rng.integers(0, len(kernels), len(hits))
    out = np.zeros(n + max(len(k) for k in kernels))
    for hit, strength, index in zip(hits.tolist(), strengths.tolist(), which.tolist(), strict=True):
        kernel = kernels[index]
        out[hit : hit + len(kernel)] += strength * kernel
    return out


def drip(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return drops: a small impact, and 2-10 ms later the bubble it closed in; `drip_hz` falls to a third."""
    n = int(for_s * rate_hz)
    out = np.zeros(n + rate_hz // 5)
    at = rng.uniform(0.0, 0.2)
    while at < for_s:
        start = int(at * rate_hz)
        tap = shaping.modes(
            rate_hz, rng.uniform(1500, 6000, 3), np.full(3, 6.0), np.ones(3), rng.uniform(0, 6, 3)
        )
        ring = _bubble(rng, rate_hz, p["radius_mm"] / 1000 * rng.uniform(0.8, 1.25))
        later = start + int(rng.uniform(0.002, 0.010) * rate_hz)
        strength = rng.uniform(0.5, 1.0)
        out[start : start + len(tap)] += 0.2 * strength * tap
        out[later : later + len(ring)] += strength * ring
        at += rng.uniform(0.6, 1.4) / p["drip_hz"] * (1 + 2 * at / max(for_s, 1e-3))
    return out.astype(np.float32)


def water_flow(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return running water: many bubbles of mixed size over a noise floor of 0.5-6 kHz."""
    n = int(for_s * rate_hz)
    radii = np.exp(rng.normal(np.log(p.get("radius_mm", 1.2)), 0.5, 12)) / 1000
    kernels = [_bubble(rng, rate_hz, max(r, 0.0003)) for r in radii]
    bubbles = _scatter(rng, rate_hz, n, p.get("bubbles_hz", 250.0), kernels, 0.7)[:n]
    noise = shaping.shaped_noise(rng, n, rate_hz, shaping.band(500.0, 6000.0, 1.5))
    wave = bubbles / (np.std(bubbles) + 1e-9) + p.get("noise", 1.0) * noise
    wave *= 1 + 0.12 * shaping.walk(rng, n, rate_hz, 3.0)
    return (wave * shaping.envelope(n, rate_hz, 0.15, 0.2)).astype(np.float32)


def splutter(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return water and steam in turns: bursts of hiss and water, `splutter_hz` a second, uneven."""
    n = int(for_s * rate_hz)
    gate = np.zeros(n)
    at = 0.0
    while at < for_s:
        start, length = int(at * rate_hz), int(rng.uniform(0.3, 0.8) / p["splutter_hz"] * rate_hz)
        stop = min(n, start + length)
        gate[start:stop] = rng.uniform(0.4, 1.0) * np.exp(-2.5 * np.linspace(0, 1, length)[: stop - start])
        at += rng.gamma(5.0) / 5.0 / p["splutter_hz"]
    wave = shaping.shaped_noise(rng, n, rate_hz, shaping.band(700.0, 9000.0, 1.5))
    return (wave * (gate + 0.05)).astype(np.float32)


def gurgle(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return large bubbles (4-25 mm, 130-800 Hz) that come in groups."""
    n = int(for_s * rate_hz)
    groups = np.clip(0.5 + shaping.walk(rng, n, rate_hz, p.get("groups_hz", 2.0)), 0, 3)
    kernels = [_bubble(rng, rate_hz, r) for r in rng.uniform(0.004, 0.025, 10)]
    wave = _scatter(rng, rate_hz, n, 22.0 * groups, kernels, 0.5)[:n]
    return (wave * shaping.envelope(n, rate_hz, 0.05, 0.1)).astype(np.float32)


def boil(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return sub-cooled boiling, 100 Hz-3 kHz: grows, and falls when the water has caught up.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `grow_db` (from the start to the loudest moment), `fall_db`, `turn` (0..1, where it turns).
    """
    n = int(for_s * rate_hz)
    wave = shaping.shaped_noise(
        rng,
        n,
        rate_hz,
        lambda f: shaping.band(110.0, 3200.0, 2.0)(f) * shaping.hump(p["peak_hz"], 1.0, 1.2)(f),
    )
    crackle = _scatter(
        rng, rate_hz, n, 40.0, [_bubble(rng, rate_hz, r) for r in rng.uniform(0.0012, 0.006, 8)], 0.8
    )[:n]
    wave = wave * np.exp(0.25 * shaping.walk(rng, n, rate_hz, 9.0)) + 0.3 * crackle / (np.std(crackle) + 1e-9)
    x, turn = np.linspace(0, 1, n), p.get("turn", 0.8)
    level_db = np.where(
        x < turn,
        p["grow_db"] * (x / max(turn, 1e-3) - 1),
        -p.get("fall_db", 6.0) * (x - turn) / max(1 - turn, 1e-3),
    )
    return (wave * 10 ** (level_db / 20) * shaping.envelope(n, rate_hz, 0.5, 0.4)).astype(np.float32)


def gravel(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return collapsing bubbles in a pump: dense random impulses, 1-10 kHz, in clumps.

    Parameters
    ----------
    p : mapping
        `impulses_hz`, `ring_hz`.
    """
    n = int(for_s * rate_hz)
    kernels = []
    for _ in range(6):
        freqs = p["ring_hz"] * rng.uniform(0.4, 2.0, 4)
        freqs = np.clip(freqs, 1000.0, min(10_000.0, 0.45 * rate_hz))
        kernels.append(
            shaping.modes(
                rate_hz, freqs, rng.uniform(1.5, 6.0, 4), rng.uniform(0.5, 1, 4), rng.uniform(0, 6.28, 4)
            )
        )
    clumps = np.exp(0.8 * shaping.walk(rng, n, rate_hz, 8.0))
    wave = _scatter(rng, rate_hz, n, p["impulses_hz"] * clumps, kernels, 0.9)[:n]
    noise = shaping.shaped_noise(rng, n, rate_hz, shaping.band(2000.0, 8000.0, 2.0))
    wave = wave / (np.std(wave) + 1e-9) + 0.35 * noise * clumps
    return (wave * shaping.envelope(n, rate_hz, 0.2, 0.2)).astype(np.float32)
