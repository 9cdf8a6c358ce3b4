"""Grinders, mixers and blenders of other makings, with start-up, load and run-down.

A universal motor turns as fast as its load lets it: the pitch dips as beans come
in, rises as they run out, and glides at both ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping, texture


def whine(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a commutator's comb: bars times the shaft with the shaft's lines at their sides, and brush noise.

    Parameters
    ----------
    p : mapping
        Of all makings: `shaft_hz`, `up_s`, `down_s`, `load` (share of speed), `load_hz`, `knee_hz`, `tilt_db`, `rough_db`.
        Its own: `bars`, `sides`, `noise` (against the comb), `hum` (pulsing at twice the mains).
    """
    n = int(for_s * rate_hz)
    speed = _speed(rng, n, rate_hz, for_s, p)
    bars = round(p["bars"])
    k = np.arange(1, min(400, int(16_000 / p["shaft_hz"])) + 2)
    amplitudes = 0.3 * k**-0.7 * rng.lognormal(0.0, 0.7, len(k))
    for harmonic in range(bars, len(k), bars):
        for aside in (-2, -1, 0, 1, 2):
            if 0 <= harmonic + aside - 1 < len(k):
                size = (1.0 if aside == 0 else p["sides"] / abs(aside)) * rng.lognormal(0.0, 0.5)
                amplitudes[harmonic + aside - 1] += size * (bars / harmonic) ** 0.8
    comb = texture.turning(rng, p["shaft_hz"] * speed, rate_hz, amplitudes)
    wave = comb + p["noise"] * texture.noise(
        rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"])
    )
    beat = np.cos(4 * np.pi * p.get("mains_hz", 50.0) * np.arange(n, dtype=np.float32) / rate_hz)
    return _driven(wave * (1 + min(0.8, p["hum"]) * beat), speed, rate_hz)


def beans(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return beans that crack and knock over a motor: thick and uneven first, then they run out.

    Parameters
    ----------
    p : mapping
        As of :func:`whine`, and `cracks_hz` (a second), `crack_ms`, `crack_peak_hz`, `cracks` (against the motor),
        `clump_db`, `clump_hz` (unevenness), `full` (share of the time with beans), `knocks_hz` (in the hopper).
    """
    n = int(for_s * rate_hz)
    speed = _speed(rng, n, rate_hz, for_s, p)
    k = np.arange(1, 80)
    comb = texture.turning(rng, p["shaft_hz"] * speed, rate_hz, k**-1.0 * rng.lognormal(0.0, 1.0, len(k)))
    rough = texture.noise(rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"]))
    # Beans come in clumps until the hopper is empty.
    left = np.clip((min(0.95, p["full"]) * n - np.arange(n)) / (0.15 * n + 1), 0.02, 1).astype(np.float32)
    clumps = texture.drift(rng, n, rate_hz, p["clump_db"], p["clump_hz"]) * left
    cracks = np.zeros(n, np.float32)
    for _ in range(3):
        hz = np.clip(p["crack_peak_hz"] * 2 ** rng.normal(0.0, 0.7, 5), 200.0, 0.42 * rate_hz)
        ring = p["crack_ms"] * rng.uniform(0.4, 1.6, 5)
        kernel = shaping.modes(rate_hz, hz, ring, rng.uniform(0.2, 1.0, 5), rng.uniform(0, 6.28, 5))
        hits = texture.marks(rng, n, rng.poisson(p["cracks_hz"] * for_s / 3), 6.0) * clumps
        cracks += shaping.strike(hits.astype(np.float32), kernel.astype(np.float32))[:n]
    for at in rng.integers(0, n, rng.poisson(p["knocks_hz"] * for_s)):
        hz = rng.uniform(150.0, 900.0, 4)
        knock = shaping.modes(rate_hz, hz, rng.uniform(10.0, 60.0, 4), np.ones(4), rng.uniform(0, 6.28, 4))
        texture.put(cracks, int(at), knock.astype(np.float32), float(rng.lognormal(0.0, 0.6)) * left[at])
    wave = 0.6 * comb + rough * (0.3 + 0.7 * left) + p["cracks"] * texture.unit(cracks)
    return _driven(wave, speed, rate_hz)


def blender(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return knives in a jar: noise chopped at their rate, a buzzing voice, and surges as the load whirls.

    Parameters
    ----------
    p : mapping
        As of :func:`whine`, and `knives`, `chop` (depth), `jar_hz` (its resonance), `jar_db`, `voice`, `surge_db`.
    """
    n = int(for_s * rate_hz)
    speed = _speed(rng, n, rate_hz, for_s, p)
    knives = round(p["knives"])
    k = np.arange(1, 120)
    sharp = texture.turning(rng, p["shaft_hz"] * knives * speed, rate_hz, k[:12] ** -0.5)
    voice = texture.turning(rng, p["shaft_hz"] * speed, rate_hz, k**-0.6 * rng.lognormal(0.0, 0.6, len(k)))
    colour = texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"])
    for ratio in (1.0, 2.2, 3.7):
        colour += texture.peak_db(
            min(p["jar_hz"] * ratio, 15_000.0), 0.2, p["jar_db"] * rng.uniform(0.3, 1.0)
        )
    wave = texture.noise(rng, n, rate_hz, colour) * np.clip(1 + p["chop"] * sharp, 0.05, None)
    wave = wave * texture.drift(rng, n, rate_hz, p["surge_db"], p["load_hz"]) + p["voice"] * voice
    return _driven(wave, speed, rate_hz)


def _speed(rng: np.random.Generator, n: int, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return speed over idle speed (n,): up, down at the end, and what the load takes in between."""
    t = np.linspace(0.0, for_s, max(16, int(200 * for_s)))
    up = 1 - np.exp(-3 * t / min(p["up_s"], 0.4 * for_s))
    down = np.clip((for_s - t) / min(p["down_s"], 0.4 * for_s), 0.0, 1.0) ** rng.uniform(0.6, 1.6)
    taken = np.clip(p["load"] * np.abs(1 + shaping.walk(rng, len(t), 200, p["load_hz"])), 0.0, 0.6)
    return texture.stretch(up * down * (1 - taken), n)


def _driven(wave: np.ndarray, speed: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the sound as loud as its speed makes it."""
    return texture.ends(wave * speed**2, rate_hz, 0.01, 0.01)
