"""Three clips of one invented machine: a good shot, a vent that seals, a hiss that should have stopped."""

from __future__ import annotations

from typing import Any

from synthetic_audio.draw import to_spec
from synthetic_audio.families import WRITERS
from synthetic_audio.machines import draw_physics
from synthetic_audio.randomness import generator
from synthetic_audio.score import Score
from synthetic_audio.spec import Spec
from synthetic_audio.surroundings import add_background

DEMO_MACHINE: dict[str, Any] = {
    "name": "bench demo, two-boiler, rotary pump",
    "mains_hz": 50,
    "pump": "rotary",
    "water": "plumbed",
    "group": "solenoid",
    "boiler": "dual",
    "heat_control": "pressurestat",
    "fill": "probe",
    "coils": "ac",
    "vacuum_valve": True,
    "shared_pump": True,
}
MAINS_HZ = 49.98
SPLIT, SEED = "train", 20
_LENGTHS_S = {"normal_brew": 20.0, "normal_warm_up": 24.0, "lasting_hiss": 18.0}
_GAUGES = {"normal_brew": {"boiler": 1.1}, "normal_warm_up": {"boiler": 0.0}, "lasting_hiss": {"boiler": 1.1}}
_PHONE: dict[str, Any] = {
    "highpass_hz": 110.0,
    "resonance_hz": 7000.0,
    "resonance_db": 3.0,
    "noise_db": -76.0,
    "agc": 0.0,
    "agc_s": 0.8,
    "suppression": False,
    "suppression_floor_db": -15.0,
    "suppression_s": 1.5,
    "clip": False,
    "over_db": 0.0,
    "codec": "low_pass",
    "lowpass_hz": 15500.0,
}


def demo_scenes() -> tuple[Spec, Spec, Spec]:
    """Return the three specs: normal brew, warm-up vent that seals, hiss that lasts at 1.1 bar.

    All data are invented; no real machine is meant.
    """
    physics = draw_physics(generator(SEED, SPLIT, "demo", "machine"), SPLIT) | {
        "poles": 4,
        "mic_distance_m": 0.3,
    }
    specs = []
    for family, total_s in _LENGTHS_S.items():
        rng = generator(SEED, SPLIT, "demo", family)
        score = Score(rng, DEMO_MACHINE, physics, MAINS_HZ, total_s, SPLIT)
        score.valve_db, score.pump_db = -13.0, -25.0
        WRITERS[family](score)
        score.gauges = dict(_GAUGES[family])
        score.add("room_tone", None, 0.0, total_s, -66.0, where="air", fall_db=4.0)
        add_background(score, rng, SPLIT, "kitchen", louder_db=-4.0)
        specs.append(to_spec(score, SEED, SPLIT, family, dict(_PHONE)))
    return specs[0], specs[1], specs[2]
