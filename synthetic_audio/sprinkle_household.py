"""The sounds of a household, of many makings, strewn over a drawn scene: for training only.

Fans, grinders, water, voices, music, knocks and clatter are known from one
synthesiser in one way each. Here every word has several makings that differ in
structure, and every number of a making is drawn over a wide range, so that what
is learned is what the makings of a word share.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from synthetic_audio.spec import Event

#: Every number is drawn log-uniformly from its range.
Ranges = dict[str, tuple[float, float]]

#: Level at the microphone, dB re full scale: RMS of what lasts, peak of knocks and clatter.
LASTING_DB, SHORT_DB = (-64.0, -16.0), (-54.0, -5.0)
#: How many sounds that last a scene has, at most, and mean counts of knocks and of spells of clatter in ten seconds.
_LASTING, _THUMPS, _CLATTERS = 2, 1.5, 0.6
#: Shares of scenes with knocks and with clatter at all.
_KNOCKED, _CLATTERING = 0.5, 0.35

_SLOW: Ranges = {"rise_s": (0.05, 2.0), "sway_db": (0.1, 3.0), "sway_hz": (0.1, 3.0)}
_TURNING: Ranges = {
    "shaft_hz": (50.0, 500.0), "up_s": (0.05, 1.2), "down_s": (0.1, 2.5), "load": (0.005, 0.15),
    "load_hz": (0.3, 8.0), "knee_hz": (250.0, 4000.0), "tilt_db": (1.0, 8.0), "rough_db": (1.0, 8.0),
}  # fmt: skip
_TALKING: Ranges = {
    "pitch_hz": (75.0, 380.0), "melody": (0.03, 0.25), "tract": (0.9, 1.4), "syllables_hz": (2.5, 7.5),
    "syllables": (2.0, 16.0), "pause_s": (0.1, 1.8), "tilt_db": (1.0, 9.0), "breath": (0.01, 0.4),
    "hush": (0.1, 2.0), "width_hz": (40.0, 180.0),
}  # fmt: skip
_PLAYING: Ranges = {
    "root_hz": (80.0, 600.0), "notes_hz": (0.7, 8.0), "attack_s": (0.002, 0.2), "decay_s": (0.1, 4.0),
    "dull": (0.4, 3.0), "vibrato": (0.0003, 0.02), "low_hz": (40.0, 500.0), "high_hz": (2000.0, 16_000.0),
}  # fmt: skip
_CLATTER: Ranges = {
    "things": (1.0, 6.0), "strokes_hz": (1.5, 18.0), "clump": (0.2, 1.4), "spread_db": (2.0, 9.0),
    "low_hz": (300.0, 3500.0), "ring_ms": (25.0, 900.0),
}  # fmt: skip

#: Word -> making (key of the sources) -> its ranges.
MAKINGS: dict[str, dict[str, Ranges]] = {
    "fan": {
        "fan_draught": _SLOW | {"knee_hz": (60.0, 2000.0), "fall_db": (2.0, 9.0), "rough_db": (0.3, 5.0)},
        "fan_blades": {
            "blade_hz": (25.0, 900.0), "tones": (0.05, 2.5), "comb_db": (3.0, 18.0), "wander": (0.0002, 0.02),
            "sway_hz": (0.1, 3.0), "beat": (0.02, 0.9), "knee_hz": (60.0, 2000.0), "tilt_db": (2.0, 9.0), "rough_db": (0.5, 6.0),
            "rise_s": (0.05, 3.0),
        },
        "fan_small": _SLOW | {
            "shaft_hz": (12.0, 120.0), "line_low_hz": (120.0, 2000.0), "lines": (1.0, 8.0), "tones": (0.03, 1.2),
            "knee_hz": (100.0, 2500.0), "tilt_db": (2.0, 9.0), "hills_db": (1.0, 7.0), "whirr": (0.05, 1.0),
        },
        "fan_hood": {
            "duct_ms": (0.4, 12.0), "duct": (0.1, 0.9), "peak_hz": (80.0, 1500.0), "fall_db": (2.0, 8.0),
            "rumble": (0.05, 1.5), "gust_db": (0.2, 3.0), "gust_hz": (0.1, 3.0), "buffet_hz": (3.0, 25.0),
            "rise_s": (0.05, 3.0),
        },
    },
    "grinder": {
        "grinder_whine": _TURNING | {
            "bars": (7.0, 40.0), "sides": (0.05, 0.8), "noise": (0.1, 2.5), "hum": (0.01, 0.7),
        },
        "grinder_beans": _TURNING | {
            "cracks_hz": (15.0, 1200.0), "crack_ms": (2.0, 30.0), "crack_peak_hz": (600.0, 6000.0),
            "cracks": (0.3, 4.0), "clump_db": (1.0, 8.0), "clump_hz": (1.5, 20.0), "full": (0.4, 3.0),
            "knocks_hz": (0.3, 15.0),
        },
        "grinder_blender": _TURNING | {
            "knives": (1.0, 8.0), "chop": (0.05, 1.0), "jar_hz": (200.0, 2500.0), "jar_db": (2.0, 16.0),
            "voice": (0.1, 2.0), "surge_db": (0.3, 5.0),
        },
    },
    "water_flow": {
        "water_sink": _SLOW | {
            "knee_hz": (300.0, 5000.0), "tilt_db": (1.0, 8.0), "hills_db": (1.0, 7.0), "drum": (0.03, 1.2), "drum_hz": (80.0, 900.0),
            "drum_ring_ms": (10.0, 250.0), "drums_hz": (5.0, 300.0),
        },
        "water_filling": _SLOW | {
            "deep_m": (0.06, 0.4), "filled": (0.2, 0.93), "width_hz": (15.0, 250.0), "ring": (0.1, 3.0),
            "knee_hz": (300.0, 5000.0), "tilt_db": (1.0, 8.0), "rough_db": (0.5, 5.0),
        },
        "water_shower": _SLOW | {
            "drops_hz": (300.0, 30_000.0), "spread_db": (2.0, 10.0), "drop_ms": (1.5, 20.0),
            "knee_hz": (300.0, 5000.0), "tilt_db": (2.0, 8.0), "rough_db": (0.5, 5.0), "wash": (0.03, 1.5),
        },
        "water_thin": _SLOW | {
            "low_hz": (150.0, 2000.0), "apart": (2.0, 12.0), "width_octaves": (0.3, 2.0), "high": (0.1, 1.5),
            "flicker_db": (0.5, 6.0), "flicker_hz": (3.0, 50.0),
        },
    },
    "hiss": {
        "hiss_two": _SLOW | {
            "peak_hz": (1800.0, 8000.0), "apart": (1.4, 4.0), "width_octaves": (0.1, 1.0), "second": (0.1, 5.0),
            "fall_db": (3.0, 14.0),
        },
        "hiss_echo": _SLOW | {
            "shelf_hz": (1500.0, 8000.0), "steep_db": (5.0, 24.0), "tilt_db": (0.5, 9.0), "echo_ms": (0.1, 4.0),
            "echo": (0.05, 0.95),
        },
        "hiss_grains": _SLOW | {
            "spits_hz": (2500.0, 40_000.0), "spread_db": (1.0, 6.0), "spit_ms": (0.5, 6.0),
            "peak_hz": (2500.0, 11_000.0), "width_octaves": (0.3, 1.5),
        },
    },
    "boil": {
        "boil_roll": _SLOW | {
            "peak_hz": (150.0, 1200.0), "apart": (1.6, 5.0), "width_octaves": (0.4, 1.8), "second_db": (1.0, 14.0),
            "fall_db": (2.0, 9.0), "tremble_db": (0.5, 5.0), "tremble_hz": (4.0, 60.0), "echo_ms": (0.3, 5.0),
            "echo": (0.05, 0.8),
        },
        "boil_pops": _SLOW | {
            "pops_hz": (15.0, 900.0), "pop_hz": (150.0, 1200.0), "octaves": (0.2, 1.0), "pop_ms": (5.0, 70.0),
            "glide": (0.02, 1.0), "spread_db": (1.0, 8.0), "murmur": (0.05, 2.0), "tilt_db": (3.0, 10.0),
        },
    },
    "speech": {
        "speech_voice": _TALKING,
        "speech_whisper": _TALKING,
        "speech_chatter": {
            "people": (2.0, 4.0), "pitch_hz": (90.0, 300.0), "melody": (0.03, 0.25), "syllables_hz": (2.5, 7.0),
            "depth_db": (6.0, 16.0), "tilt_db": (1.0, 7.0), "breath": (0.02, 0.5),
        },
    },
    "music": {"music_melody": _PLAYING, "music_chords": _PLAYING, "music_beats": _PLAYING},
    "thump": {
        "thump_panel": {
            "low_hz": (40.0, 350.0), "modes": (3.0, 30.0), "spread": (3.0, 25.0), "ring_ms": (60.0, 700.0),
            "tilt_db": (1.0, 12.0), "contact_ms": (0.3, 15.0), "boom": (0.03, 1.0), "boom_hz": (30.0, 90.0),
            "boom_ms": (150.0, 700.0),
        },
        "thump_slap": {
            "low_hz": (50.0, 350.0), "low_ms": (10.0, 80.0), "high_hz": (400.0, 2500.0), "high_ms": (2.0, 25.0),
            "high": (0.03, 0.7), "attack_ms": (0.3, 8.0), "rough_db": (1.0, 8.0),
        },
        "thump_loose": {
            "low_hz": (45.0, 250.0), "ring_ms": (80.0, 600.0), "shakes": (2.0, 12.0), "gap_ms": (8.0, 90.0),
            "closer": (0.6, 1.0), "shake": (0.03, 0.5), "shake_hz": (500.0, 4000.0), "shake_ms": (5.0, 60.0),
        },
        "thump_hollow": {
            "air_hz": (70.0, 450.0), "sharp": (8.0, 70.0), "sink": (0.01, 0.4), "breath": (0.05, 1.5),
            "walls_hz": (200.0, 1500.0), "walls": (0.05, 1.0), "walls_ms": (10.0, 90.0),
        },
    },
    "clatter": {
        "clatter_crockery": _CLATTER | {"modes": (3.0, 20.0), "stretch": (2.0, 12.0), "click": (0.03, 1.0)},
        "clatter_cutlery": _CLATTER | {
            "touches": (1.0, 12.0), "touch_gap_ms": (2.0, 40.0), "rough_db": (3.0, 12.0),
        },
    },
}  # fmt: skip

#: Words that last, with how often each comes; the share that goes on from before the clip to after it; seconds else.
_LASTS: dict[str, tuple[float, float, tuple[float, float]]] = {
    "fan": (3.0, 0.7, (2.0, 20.0)),
    "grinder": (2.0, 0.1, (0.6, 14.0)),
    "water_flow": (2.5, 0.35, (1.5, 20.0)),
    "hiss": (1.5, 0.75, (1.5, 20.0)),
    "boil": (1.5, 0.75, (3.0, 25.0)),
    "speech": (2.0, 0.35, (1.0, 20.0)),
    "music": (2.0, 0.7, (2.0, 20.0)),
}
#: Of these, some are the machine's own or stand as near.
_NEAR: frozenset[str] = frozenset({"water_flow", "hiss", "boil", "thump", "clatter"})


def household(rng: np.random.Generator, duration_s: float) -> list[Event]:
    """Draw what a household sounds like during a scene.

    Parameters
    ----------
    rng : np.random.Generator
    duration_s : float
        Length of the scene.

    Returns
    -------
    list of Event
        One or two sounds that last; in some scenes knocks and clatter too.
    """
    words, weights = list(_LASTS), np.array([weight for weight, _, _ in _LASTS.values()])
    count = int(rng.integers(1, _LASTING + 1))
    events = [
        _lasting(rng, words[int(number)], duration_s)
        for number in rng.choice(len(words), count, replace=False, p=weights / weights.sum())
    ]
    if rng.random() < _KNOCKED:
        for at_s in rng.uniform(0.05, max(0.1, duration_s - 0.2), rng.poisson(_THUMPS * duration_s / 10)):
            events += _thumps(rng, float(at_s))
    if rng.random() < _CLATTERING:
        for at_s in rng.uniform(
            0.0, max(0.1, duration_s - 0.5), 1 + rng.poisson(_CLATTERS * duration_s / 10)
        ):
            for_s = _log(rng, 0.4, 5.0)
            events.append(_event(rng, "clatter", float(at_s), for_s, float(rng.uniform(*SHORT_DB))))
    return events


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _event(rng: np.random.Generator, word: str, at_s: float, for_s: float, level_db: float) -> Event:
    """Draw one sound of any making of its word."""
    makings = MAKINGS[word]
    source = list(makings)[int(rng.integers(len(makings)))]
    # Five digits, so that a number at the end of its range does not leave it.
    params = {name: float(f"{_log(rng, *span):.5g}") for name, span in makings[source].items()}
    where = str(
        rng.choice(["room", "machine", "air"], p=[0.7, 0.2, 0.1] if word in _NEAR else [0.9, 0.0, 0.1])
    )
    return Event(source, word, round(at_s, 4), round(for_s, 3), round(level_db, 2), params, where)


def _lasting(rng: np.random.Generator, word: str, duration_s: float) -> Event:
    _, throughout, lengths_s = _LASTS[word]
    level_db = float(rng.uniform(*LASTING_DB))
    if rng.random() < throughout:
        # Its own beginning and end lie outside the clip.
        event = _event(rng, word, -0.5, duration_s + 1.0, level_db)
        return replace(event, params=event.params | {"rise_s": 0.2}) if "rise_s" in event.params else event
    for_s = _log(rng, *lengths_s)
    at_s = float(rng.uniform(-0.4 * for_s, max(0.0, duration_s - min(1.0, 0.5 * for_s))))
    # What ends after the clip need not be made to its end.
    return _event(rng, word, at_s, min(for_s, duration_s + 1.0 - at_s), level_db)


def _thumps(rng: np.random.Generator, at_s: float) -> list[Event]:
    """Draw a knock, or two of one making; before some a hand or a foot is heard."""
    first = _event(rng, "thump", at_s, 0.2, float(rng.uniform(*SHORT_DB)))
    if "shakes" in first.params:
        # The label lasts as long as what is loose.
        shaking_s = 0.15 + 0.0006 * first.params["shakes"] * first.params["gap_ms"]
        first = replace(first, for_s=round(max(0.2, shaking_s), 3))
    events = [first]
    if rng.random() < 0.3:
        again_s, softer_db = _log(rng, 0.08, 0.6), float(rng.uniform(0.0, 12.0))
        events.append(
            replace(first, at_s=round(at_s + again_s, 4), level_db=round(first.level_db - softer_db, 2))
        )
    if rng.random() < 0.3:
        for_s = round(_log(rng, 0.03, 0.4), 3)
        params = {
            "peak_hz": _log(rng, 300.0, 4000.0), "flicker_db": _log(rng, 1.0, 8.0), "flicker_hz": _log(rng, 5.0, 60.0)
        }  # fmt: skip
        level_db = round(first.level_db - float(rng.uniform(12.0, 30.0)), 2)
        events.append(Event("scuff", None, round(at_s - for_s, 4), for_s, level_db, params, first.where))
    return events
