"""Fans of other makings: a draught, blades that sing, a small box with bearings, a hood with its duct.

All blow; they differ in what colours the air's noise, in whether blades or
bearings sound through it, and in how it sways.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import texture


def draught(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return air alone: noise that falls on both sides of a knee.

    Parameters
    ----------
    p : mapping
        `knee_hz`, `fall_db`, `rough_db`, `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    colour = texture.colour_db(rng, p["knee_hz"], p["fall_db"], p["rough_db"])
    wave = texture.noise(rng, n, rate_hz, colour)
    wave *= texture.drift(rng, n, rate_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def blades(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return blades that pass a strut: a comb at `blade_hz` over noise that pulses with it.

    Parameters
    ----------
    p : mapping
        `blade_hz`, `tones` (against the noise), `comb_db` (fall an octave), `wander` (share of speed),
        `sway_hz`, `beat` (pulsing of the noise), `knee_hz`, `tilt_db`, `rough_db`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    # It comes up to speed as it comes up in level, and sinks as it dies.
    hz = p["blade_hz"] * texture.drift(rng, n, rate_hz, 8.7 * p["wander"], p["sway_hz"])
    k = np.arange(1, 60)
    amplitudes = k ** (-p["comb_db"] / 6.02) * rng.lognormal(0.0, 0.8, len(k))
    comb = texture.turning(rng, hz, rate_hz, amplitudes)
    air = texture.noise(rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["rough_db"]))
    air *= 1 + min(0.9, p["beat"]) * np.clip(comb / 2, -1, 1)
    wave = air + p["tones"] * comb * texture.drift(rng, n, rate_hz, 1.5, 2 * p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def small(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a small quick fan in a case: the case's narrow hills, and lines of bearings and motor.

    Parameters
    ----------
    p : mapping
        `shaft_hz`, `line_low_hz` (lowest of the lines), `lines` (count), `tones` (against the noise),
        `knee_hz`, `tilt_db`, `hills_db`, `whirr` (how the lines sway with the shaft), `sway_db`, `sway_hz`, `rise_s`.
    """
    n = int(for_s * rate_hz)
    wave = texture.noise(
        rng, n, rate_hz, texture.colour_db(rng, p["knee_hz"], p["tilt_db"], p["hills_db"], 40)
    )
    hz = p["shaft_hz"] * texture.drift(rng, n, rate_hz, 0.03, p["sway_hz"])
    amplitudes = np.zeros(200)
    lowest = max(1.0, p["line_low_hz"] / p["shaft_hz"])
    for _ in range(round(p["lines"])):
        # Poles, blades and balls each give a line at a multiple of the shaft, with the shaft at its sides.
        at = min(198, round(lowest * 2 ** rng.uniform(0.0, 3.0)))
        amplitudes[at - 1] += rng.lognormal(0.0, 0.7)
        amplitudes[[max(0, at - 2), at]] += 0.5 * p["whirr"]
    wave += p["tones"] * texture.turning(rng, hz, rate_hz, amplitudes)
    wave *= texture.drift(rng, n, rate_hz, p["sway_db"], p["sway_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])


def hood(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return an extractor: a duct that colours by its length, a rumble, and gusts that come and go.

    Parameters
    ----------
    p : mapping
        `duct_ms` (there and back), `duct` (depth of its colour), `peak_hz`, `fall_db`, `rumble`,
        `gust_db`, `gust_hz`, `buffet_hz` (quick trembling), `rise_s`.
    """
    n = int(for_s * rate_hz)
    colour = texture.peak_db(p["peak_hz"], 2.0, 6.0, p["fall_db"]) + texture.comb_db(p["duct_ms"], p["duct"])
    wave = texture.noise(rng, n, rate_hz, colour + texture.colour_db(rng, 1000.0, 0.0, 2.0))
    wave *= texture.drift(rng, n, rate_hz, p["gust_db"], p["gust_hz"])
    low = texture.raised(
        texture.noise(rng, n // 12 + 1, rate_hz // 12, texture.peak_db(90.0, 1.0, 12.0, 4.0)), 12, n
    )
    wave += p["rumble"] * low * texture.drift(rng, n, rate_hz, 3.0, p["buffet_hz"])
    return texture.ends(wave, rate_hz, p["rise_s"], p["rise_s"])
