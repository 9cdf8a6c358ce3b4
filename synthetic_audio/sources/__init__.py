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
    fans,
    grains,
    grinders,
    jet,
    knocks,
    motor,
    running_water,
    steady,
    stroke_pump,
    struck,
    sudden,
    talk,
    thump,
    tones,
    tunes,
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
    "fan_draught": fans.draught,
    "fan_blades": fans.blades,
    "fan_small": fans.small,
    "fan_hood": fans.hood,
    "grinder_whine": grinders.whine,
    "grinder_beans": grinders.beans,
    "grinder_blender": grinders.blender,
    "thump_panel": knocks.panel,
    "thump_slap": knocks.slap,
    "thump_loose": knocks.loose,
    "thump_hollow": knocks.hollow,
    "scuff": knocks.scuff,
    "clatter_crockery": knocks.crockery,
    "clatter_cutlery": knocks.cutlery,
    "water_sink": running_water.sink,
    "water_filling": running_water.filling,
    "water_shower": running_water.shower,
    "water_thin": running_water.thin,
    "hiss_two": steady.hiss_two,
    "hiss_echo": steady.hiss_echo,
    "hiss_grains": steady.hiss_grains,
    "boil_roll": steady.boil_roll,
    "boil_pops": steady.boil_pops,
    "speech_voice": talk.voice,
    "speech_whisper": talk.whisper,
    "speech_chatter": talk.chatter,
    "music_melody": tunes.melody,
    "music_chords": tunes.chords,
    "music_beats": tunes.beats,
}

#: Sources whose level is a peak.
PEAK: frozenset[str] = frozenset(
    {"click", "click_train", "thump", "drip", "clatter", "knock_box", "arcing", "scrape", "struck"}
    | {"thump_panel", "thump_slap", "thump_loose", "thump_hollow", "clatter_crockery", "clatter_cutlery"}
)

#: Sources that are never part of the machine.
BACKGROUND: frozenset[str] = frozenset(
    {"room_tone", "kitchen", "speech", "music", "fridge", "fan", "grinder", "clatter", "tap", "knock_box"}
    | {"rain", "wind", "crackle", "engine", "calls", "crowd"}
)
