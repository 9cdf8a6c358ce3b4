"""All sources by name. Each takes (samples, rng, stage, **values) and returns a wave with its peak at 1."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from synthetic_audio.second import flows, impostors, periodic, struck

KINDS: dict[str, Callable[..., np.ndarray]] = {
    "click": struck.click,
    "click_train": struck.click_train,
    "knock": struck.thump,
    "tick": struck.tick,
    "clatter": struck.clatter,
    "drips": struck.drips,
    "coil_hum": periodic.coil_hum,
    "coil_buzz": periodic.coil_buzz,
    "stroke_pump": periodic.stroke_pump,
    "motor": periodic.motor,
    "field": periodic.field,
    "stalled": periodic.stalled,
    "hiss": flows.hiss,
    "jet": flows.jet,
    "blast": flows.blast,
    "burst": flows.burst,
    "boil": flows.boil,
    "gravel": flows.gravel,
    "water": flows.water,
    "fridge": impostors.fridge,
    "fan": impostors.fan,
    "grinder": impostors.grinder,
    "voices": impostors.voices,
    "tune": impostors.tune,
}
