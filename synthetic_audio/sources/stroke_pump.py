"""A vibratory pump behind a diode: one stroke a mains cycle.

The half-wave current pulls the piston once a cycle and a spring throws it
back, so the sound is a comb at f. With pressure the piston is damped: harmonics
fall and the level drops by a few dB within seconds; with air in the pump it
hits its stops: strong harmonics up to several kHz (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def stroke_train(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return the pump's comb at the mains frequency.

    Parameters
    ----------
    p : mapping
        `mains_hz`, `at_s`, `tilt_db`, `load_drop_db`, `build_up_s`, `body_hz`,
        `load` (0..1, reached at the end of the build-up), `air` (0..1),
        `missing_fraction` (0..1, share of strokes that fail).
    """
    f = p["mains_hz"]
    n = int(for_s * rate_hz)
    t = np.arange(n) / rate_hz
    cycles = f * (p["at_s"] + t)
    k = np.arange(1, int(7000 / f))
    gains = shaping.body_gain(f * k, p["body_hz"]) * rng.uniform(0.7, 1.3, len(k))
    phases = np.pi / 2 + rng.normal(0, 0.7, len(k))
    free_tilt = max(0.8, p["tilt_db"] - 2.5 * (1 + p.get("air", 0.0)))
    free = shaping.make_table(gains * k ** (-free_tilt / 6.02), phases)
    loaded = shaping.make_table(gains * k ** (-p["tilt_db"] / 6.02), phases)
    load = p.get("load", 1.0) * (1 - np.exp(-3 * t / p["build_up_s"]))
    drop = 10 ** (-p["load_drop_db"] * load / 20)
    wave = (shaping.read_table(free, cycles) * (1 - load) + shaping.read_table(loaded, cycles) * load) * drop
    strokes = np.ones(int(np.ceil(cycles[-1])) + 2 if n else 2)
    strokes *= 1 + 0.04 * rng.standard_normal(len(strokes))
    if p.get("missing_fraction"):
        strokes[rng.random(len(strokes)) < p["missing_fraction"]] *= 0.1
    wave *= strokes[cycles.astype(int)]
    # Water pushed through the check valves: noise in step with the strokes.
    flow = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(1800.0, 1.0, 1.5))
    flow *= 0.5 + 0.5 * np.cos(2 * np.pi * cycles)
    wave += 0.1 * flow * np.sqrt(np.mean(wave**2) if n else 1.0)
    return (wave * shaping.envelope(n, rate_hz, 0.03, 0.05)).astype(np.float32)
