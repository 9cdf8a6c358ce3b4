"""Draw a machine: its profile, and the numbers of its parts."""

from __future__ import annotations

from typing import Any

import numpy as np

from synthetic_audio.ranges import pick_all


def _one_of(rng: np.random.Generator, options: dict[str, float]) -> str:
    names = list(options)
    weights = np.array([options[k] for k in names])
    return str(rng.choice(names, p=weights / weights.sum()))


#: What a family needs of the machine: key -> allowed values.
NEEDS: dict[str, dict[str, tuple[Any, ...]]] = {
    "normal_fill": {"fill": ("probe",), "pump": ("rotary", "vibratory")},
    "missing_click_brew": {"group": ("solenoid",), "pump": ("rotary", "vibratory")},
    "missing_click_fill": {"fill": ("probe",), "pump": ("rotary", "vibratory")},
    "stalled_motor": {"pump": ("rotary",)},
    "starved_pump": {"pump": ("rotary", "rotary", "rotary", "vibratory")},
    "no_burst": {"group": ("solenoid", "lever_drain"), "pump": ("rotary", "vibratory")},
    "fill_too_often": {"fill": ("probe",), "pump": ("rotary", "vibratory")},
    "fill_never_ends": {"fill": ("probe",), "pump": ("rotary", "vibratory")},
    "solenoid_buzz": {"group": ("solenoid",), "coils": ("ac",), "pump": ("rotary", "vibratory")},
    "normal_warm_up": {"vacuum_valve": (True,)},
    "chatter": {"heat_control": ("pressurestat",)},
}


def draw_profile(rng: np.random.Generator, family: str, mains_nominal: int) -> dict[str, Any]:
    """Return a machine profile in which this family can happen."""
    needs = NEEDS.get(family, {})
    pump = _one_of(rng, {"rotary": 0.55, "vibratory": 0.38, "none": 0.07})
    if "pump" in needs:
        allowed = needs["pump"]
        pump = str(rng.choice(allowed)) if pump not in allowed or len(set(allowed)) < len(allowed) else pump
    boiler = _one_of(rng, {"single": 0.2, "hx": 0.45, "dual": 0.35})
    profile: dict[str, Any] = {
        "name": f"test bench {int(rng.integers(100, 1000))}",
        "mains_hz": mains_nominal,
        "pump": pump,
        "water": _one_of(rng, {"plumbed": 0.7, "reservoir": 0.3}) if pump == "rotary" else "reservoir",
        "group": "manual_lever" if pump == "none" else _one_of(rng, {"solenoid": 0.7, "lever_drain": 0.3}),
        "boiler": boiler,
        "heat_control": _one_of(rng, {"pressurestat": 0.6, "ssr": 0.4}),
        "fill": "manual" if pump == "none" or (boiler == "single" and rng.random() < 0.5) else "probe",
        "coils": "dc" if rng.random() < 0.15 else "ac",
        "vacuum_valve": bool(rng.random() < 0.8),
        "shared_pump": bool(boiler != "single" and rng.random() < 0.7),
    }
    if pump == "none":
        profile["water"] = "manual"
    for key, allowed in needs.items():
        if profile[key] not in allowed:
            profile[key] = allowed[int(rng.integers(len(allowed)))]
    return profile


def draw_physics(rng: np.random.Generator, split: str) -> dict[str, float]:
    """Return the numbers of the machine's parts, its room and the phone before it."""
    physics = pick_all(rng, split)
    physics["poles"] = int(rng.choice([4, 4, 4, 2]))
    return physics
