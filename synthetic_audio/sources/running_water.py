"""Water of other makings: into a metal sink, into a jug that fills, as a shower, as a thin stream.

No single bubble can be made out in any of them: they are dense noises that sway.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping, texture

#: Speed of sound in air, m/s.
_SOUND_M_S = 343.0


def sink(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a stream on sheet metal: noise through many plate modes, and drumming below.

    Parameters
    ----------
    p : mapping
        `knee_hz`, `tilt_db`, `hills_db` (of the plate's modes), `drum` (against the noise), `drum_hz`, `drum_ring_ms`,
        `drums_hz` (blows a second), `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    wave = texture.noise(
        rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["hills_db"], 70)
    )
    wave *= texture.drift(rng, n, rate_hz, p["sway_db"], p["sway_hz"])
    # The sheet drums low, so that a sixth of the rate is enough.
    low_hz, low_n = rate_hz // 6, n // 6 + 1
    hz = np.clip(p["drum_hz"] * rng.uniform(0.7, 4.0, 7), 40.0, 0.4 * low_hz)
    drum = shaping.modes(
        low_hz, hz, p["drum_ring_ms"] * rng.uniform(0.4, 1.5, 7), np.ones(7), rng.uniform(0, 6.28, 7)
    )
    blows = texture.marks(rng, low_n, rng.poisson(p["drums_hz"] * for_s), 5.0)
    wave += p["drum"] * texture.raised(texture.unit(shaping.strike(blows, drum)[:low_n]), 6, n)
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def filling(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a jug that fills: the air above the water is a quarter-wave pipe that gets shorter.

    Parameters
    ----------
    p : mapping
        `deep_m` (of the jug), `filled` (share when it ends), `width_hz` (of the resonance),
        `ring` (against the noise), `knee_hz`, `tilt_db`, `rough_db`, `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    t = np.linspace(0.0, 1.0, max(16, int(50 * for_s)))
    height = 1 - min(0.93, p["filled"]) * t ** rng.uniform(0.7, 1.4)
    hz = _SOUND_M_S / (4 * p["deep_m"] * height) * 10 ** (0.01 * shaping.walk(rng, len(t), 50, 2.0))
    hz = texture.stretch(hz, n)
    wave = texture.noise(rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"]))
    # A resonance is slow noise on a carrier; the pipe has the odd harmonics.
    points = max(8, int(2 * p["width_hz"] * for_s))
    for _ in range(2):
        carrier = texture.turning(rng, hz, rate_hz, np.array([1.0, 0.0, 0.4, 0.0, 0.2]))
        wave += p["ring"] * carrier * texture.stretch(rng.standard_normal(points), n)
    wave = wave * texture.drift(rng, n, rate_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def shower(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return very many short impacts, some far stronger than others, on something hard or soft.

    Parameters
    ----------
    p : mapping
        `drops_hz` (a second), `spread_db`, `drop_ms`, `knee_hz`, `tilt_db`, `rough_db`, `wash` (share of smooth noise),
        `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    drops = texture.marks(rng, n, rng.poisson(p["drops_hz"] * for_s), p["spread_db"]).astype(np.float32)
    size = max(24, int(p["drop_ms"] * rate_hz / 1000))
    kernel = texture.noise(
        rng, size, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"])
    )
    # A soft onset: a cut edge would be brighter than the colour.
    t = np.arange(size) / size
    kernel *= (np.exp(-5 * t) * (1 - np.exp(-30 * t))).astype(np.float32)
    wave = texture.unit(shaping.strike(drops, kernel)[:n])
    wave = wave + p["wash"] * texture.noise(
        rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], 2.0)
    )
    wave *= texture.drift(rng, n, rate_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def thin(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a thin stream: two bands of noise that flicker each on its own, one low and one high.

    Parameters
    ----------
    p : mapping
        `low_hz`, `apart` (ratio of the bands), `width_octaves`, `high` (against the low one), `flicker_db`,
        `flicker_hz`, `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    half_hz, half_n = rate_hz // 2, n // 2 + 1
    wave = np.zeros(half_n, np.float32)
    for hz, gain in ((p["low_hz"], 1.0), (min(p["low_hz"] * p["apart"], 10_000.0), p["high"])):
        colour = texture.peak_db(hz, p["width_octaves"], 25.0, 3.0) + texture.colour_db(rng, 1000.0, 0.0, 2.0)
        part = texture.noise(rng, half_n, half_hz, colour)
        wave += gain * part * texture.drift(rng, half_n, half_hz, p["flicker_db"], p["flicker_hz"])
    wave *= texture.drift(rng, half_n, half_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(texture.raised(wave, 2, n), rate_hz, p["rise_s"], p["rise_s"])
