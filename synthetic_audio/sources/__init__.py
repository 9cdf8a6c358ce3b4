"""All sources by name. Each is ``source(rng, rate_hz, for_s, params) -> samples`` at any level.

The renderer brings a source to its level: those in :data:`PEAK` by their peak,
the others by the RMS of their loudest quarter second. It adds `at_s` and
`mains_hz` to the parameters, so that all that hangs on the mains keeps one phase.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from synthetic_audio.backgrounds import kitchen, outdoors, voices
from synthetic_audio.sources import (
    click,
    coil,
    discharge,
    grains,
    jet,
    motor,
    stroke_pump,
    struck,
    sudden,
    thump,
    tones,
    water,
)

SOURCES: dict[str, Callable[..., np.ndarray]] = {
    "click": click.click,
    "click_train": click.click_train,
    "thump": thump.thump,
    "hum": coil.hum,
    "buzz": coil.buzz,
    "arcing": coil.arcing,
    "stroke_train": stroke_pump.stroke_train,
    "motor": motor.motor,
    "leak": jet.leak,
    "vent": jet.vent,
    "wand": jet.wand,
    "blast": jet.blast,
    "burst": discharge.burst,
    "drip": water.drip,
    "water_flow": water.water_flow,
    "splutter": water.splutter,
    "gurgle": water.gurgle,
    "boil": water.boil,
    "gravel": water.gravel,
    "squeal": tones.squeal,
    "honk": tones.honk,
    "beep": tones.beep,
    "rattle": tones.rattle,
    "scrape": tones.scrape,
    "room_tone": kitchen.room_tone,
    "kitchen": kitchen.kitchen,
    "speech": voices.speech,
    "music": voices.music,
    "fridge": kitchen.fridge,
    "fan": kitchen.fan,
    "grinder": kitchen.grinder,
    "clatter": kitchen.clatter,
    "tap": water.water_flow,
    "knock_box": kitchen.knock_box,
    "rain": outdoors.rain,
    "wind": outdoors.wind,
    "crackle": outdoors.crackle,
    "engine": outdoors.engine,
    "calls": outdoors.calls,
    "crowd": outdoors.crowd,
    "grains": grains.grains,
    "struck": struck.struck,
    "sudden_noise": sudden.noise,
    "sudden_tone": sudden.tone,
}

#: Sources whose level is a peak.
PEAK: frozenset[str] = frozenset(
    {"click", "click_train", "thump", "drip", "clatter", "knock_box", "arcing", "scrape", "struck"}
)

#: Sources that are never part of the machine.
BACKGROUND: frozenset[str] = frozenset(
    {"room_tone", "kitchen", "speech", "music", "fridge", "fan", "grinder", "clatter", "tap", "knock_box"}
    | {"rain", "wind", "crackle", "engine", "calls", "crowd"}
)
