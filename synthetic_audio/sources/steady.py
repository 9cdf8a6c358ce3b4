"""Steam and boiling that go on and on, of other makings than one hill of noise.

What tells them apart is where they lie and how they tremble, and not how a
colour was made: hence several ways of making each.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping, texture


def hiss_two(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a jet with two hills, as of a slit and of what it blows against.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `apart` (ratio), `width_octaves`, `second` (against the first), `fall_db`,
        and of all here `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    first = texture.peak_db(p["peak_hz"], 1.0, 0.0, p["fall_db"])
    second_hz = min(p["peak_hz"] * p["apart"], 16_000.0)
    second = texture.peak_db(second_hz, p["width_octaves"], 20.0, 1.5 * p["fall_db"]) - 20.0
    colour = 10 * np.log10(10 ** (first / 10) + p["second"] * 10 ** (second / 10) + 1e-9)
    return _swaying(rng, texture.noise(rng, n, rate_hz, colour), rate_hz, p)


def hiss_echo(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a jet that is flat above its shelf and coloured by an echo from a wall near by.

    Parameters
    ----------
    p : mapping
        `shelf_hz`, `steep_db` (an octave below the shelf), `tilt_db` (above it), `echo_ms`, `echo`.
    """
    n = int(for_s * rate_hz)
    away = texture.octaves(p["shelf_hz"])
    colour = p["steep_db"] * np.minimum(away, 0.0) - p["tilt_db"] * np.maximum(away, 0.0)
    colour = np.maximum(colour, -45.0) + texture.comb_db(p["echo_ms"], min(0.95, p["echo"]))
    return _swaying(rng, texture.noise(rng, n, rate_hz, colour), rate_hz, p)


def hiss_grains(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return wet steam: very many tiny spits, so dense that they run together.

    Parameters
    ----------
    p : mapping
        `spits_hz` (a second), `spread_db`, `spit_ms`, `peak_hz`, `width_octaves`.
    """
    n = int(for_s * rate_hz)
    spits = texture.marks(rng, n, rng.poisson(p["spits_hz"] * for_s), p["spread_db"]).astype(np.float32)
    size = max(24, int(p["spit_ms"] * rate_hz / 1000))
    kernel = texture.noise(rng, size, rate_hz, texture.peak_db(p["peak_hz"], p["width_octaves"], 30.0, 2.0))
    kernel *= np.exp(-5 * np.arange(size) / size).astype(np.float32)
    return _swaying(rng, shaping.strike(spits, kernel)[:n], rate_hz, p)


def boil_roll(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a rolling boil: low noise with two hills, of water and of vessel, that trembles.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `apart`, `width_octaves`, `second_db`, `fall_db`, `tremble_db`, `tremble_hz`, `echo_ms`, `echo`.
    """
    n = int(for_s * rate_hz)
    part_hz, part_n = rate_hz // 2, n // 2 + 1
    colour = texture.peak_db(p["peak_hz"], p["width_octaves"], 12.0, p["fall_db"])
    colour += texture.peak_db(p["peak_hz"] * p["apart"], 0.4, p["second_db"])
    colour += texture.comb_db(p["echo_ms"], min(0.95, p["echo"]))
    wave = texture.noise(rng, part_n, part_hz, colour)
    wave *= texture.drift(rng, part_n, part_hz, p["tremble_db"], p["tremble_hz"])
    return _swaying(rng, texture.raised(wave, 2, n), rate_hz, p)


def boil_pops(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return vapour that comes up in blobs: soft pops whose pitch rises as they open, over a murmur.

    Parameters
    ----------
    p : mapping
        `pops_hz` (a second), `pop_hz` (pitch), `octaves` (deviation of the pitches), `pop_ms`,
        `glide` (rise of the pitch, share), `spread_db`, `murmur` (against the pops), `tilt_db`.
    """
    n = int(for_s * rate_hz)
    # Pops are low: a third of the rate is enough.
    low_hz, low_n = rate_hz // 3, n // 3 + 1
    wave = np.zeros(low_n, np.float32)
    for _ in range(5):
        hz = float(np.clip(p["pop_hz"] * 2 ** (p["octaves"] * rng.standard_normal()), 60.0, 4000.0))
        t = np.arange(max(16, int(p["pop_ms"] * rng.uniform(0.5, 2.0) * low_hz / 1000))) / low_hz
        rising = hz * (t + 0.5 * p["glide"] * t**2 / t[-1])
        pop = np.sin(2 * np.pi * rising) * (t / t[-1]) ** 0.3 * np.exp(-5 * t / t[-1])
        hits = texture.marks(rng, low_n, rng.poisson(p["pops_hz"] * for_s / 5), p["spread_db"])
        wave += shaping.strike(hits.astype(np.float32), pop.astype(np.float32))[:low_n]
    murmur = texture.noise(rng, low_n, low_hz, texture.colour_db(rng, 150.0, p["tilt_db"], 4.0))
    wave = texture.unit(wave) + p["murmur"] * murmur
    return _swaying(rng, texture.raised(wave, 3, n), rate_hz, p)


def _swaying(rng: np.random.Generator, wave: np.ndarray, rate_hz: int, p: Mapping[str, Any]) -> np.ndarray:
    wave = wave * texture.drift(rng, len(wave), rate_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])
