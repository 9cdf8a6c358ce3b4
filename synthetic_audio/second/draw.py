"""Draw a scene: the family, a machine that can show it, the room, the phone, and the plan of sounds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from synthetic_audio.second import faults, normals
from synthetic_audio.second.plan import IMPOSTORS, Plan
from synthetic_audio.second.spec import Spec
from synthetic_audio.vocabulary import FAMILIES

_BUILD: dict[str, Callable[[Plan], None]] = {
    name: getattr(normals if hasattr(normals, name) else faults, name) for name in FAMILIES
}
#: What a family asks of the machine.
_NEEDS: dict[str, dict[str, Any]] = {
    "normal_brew": {"pump": ("rotary", "vibratory"), "group": ("solenoid", "lever_drain")},
    "normal_warm_up": {"vacuum_valve": (True,)},
    "normal_fill": {"pump": ("rotary", "vibratory"), "fill": ("probe",), "shared_pump": (True,)},
    "missing_click_brew": {"pump": ("rotary", "vibratory"), "group": ("solenoid",)},
    "missing_click_fill": {"pump": ("rotary", "vibratory"), "fill": ("probe",), "shared_pump": (True,)},
    "stalled_motor": {"pump": ("rotary",), "group": ("solenoid", "lever_drain")},
    "starved_pump": {
        "pump": ("rotary", "rotary", "rotary", "vibratory"),
        "group": ("solenoid", "lever_drain"),
    },
    "no_burst": {"pump": ("rotary", "vibratory"), "group": ("solenoid", "lever_drain")},
    "fill_too_often": {"pump": ("rotary", "vibratory"), "fill": ("probe",), "shared_pump": (True,)},
    "fill_never_ends": {"pump": ("rotary", "vibratory"), "fill": ("probe",), "shared_pump": (True,)},
    "solenoid_buzz": {
        "pump": ("rotary", "rotary", "rotary", "vibratory"),
        "group": ("solenoid",),
        "coils": ("ac",),
    },
}
_LENGTH_S: dict[str, tuple[float, float]] = {
    "normal_brew": (10, 25), "normal_warm_up": (12, 25), "normal_fill": (8, 18), "fill_too_often": (90, 120),
    "fill_never_ends": (72, 85), "no_burst": (10, 25), "blast": (7, 18), "missing_click_brew": (6, 16),
}  # fmt: skip
_PHONES: tuple[tuple[float, int, tuple[float, float], tuple[float, float]], ...] = (
    (0.10, 8_000, (250, 330), (3300, 3500)),
    (0.18, 16_000, (50, 130), (6400, 7200)),
    (0.27, 44_100, (40, 130), (13_000, 17_000)),
    (0.45, 48_000, (30, 110), (15_000, 20_000)),
)


def draw(
    seed: int,
    family: str | None = None,
    *,
    duration_s: float | None = None,
    background: str | None = None,
    phone: bool = True,
    mains_hz: int | None = None,
) -> Spec:
    """Return a scene's spec; the same arguments give the same spec.

    Parameters
    ----------
    seed : int
    family : str, optional
        One of `FAMILIES`; drawn if not given.
    duration_s : float, optional
        Length of the clip; drawn for the family if not given.
    background : str, optional
        An impostor (`fridge`, `fan`, `grinder`, `voices`, `clatter`, `water`, `tune`, `knock`) or `none`; drawn if not given.
    phone : bool
        False records 20 Hz to 20 kHz at 48 kHz with 16 bits and no compressor.
    mains_hz : int, optional
        50 or 60.

    Raises
    ------
    ValueError
        If the family or the background is not known, or the length too short for the family (6 s, fills that
        come too often or do not end as long as theirs take).
    """
    family = str(np.random.default_rng([seed, 1]).choice(FAMILIES)) if family is None else family
    if family not in _BUILD:
        raise ValueError(f"No family is called {family!r}. Take one of: {', '.join(FAMILIES)}.")
    if background not in (None, "none", *IMPOSTORS):
        raise ValueError(
            f"No background is called {background!r}. Take one of: none, {', '.join(IMPOSTORS)}."
        )
    least_s = _LENGTH_S[family][0] if family.startswith("fill") else 6
    if duration_s is not None and duration_s < least_s:
        raise ValueError(
            f"A scene of {family} takes {least_s} s or more, not {duration_s}. Ask for a longer one."
        )
    rng = np.random.default_rng([seed, 2, FAMILIES.index(family)])
    machine = _machine(rng, _NEEDS.get(family, {}), mains_hz)
    length_s = float(rng.uniform(*_LENGTH_S.get(family, (6, 18)))) if duration_s is None else duration_s
    plan = Plan(rng, machine, round(length_s, 2), distance_db=float(rng.normal(0, 3)))
    top = 0.95 if machine["group"] == "manual_lever" else 1.3
    plan.gauges["boiler"] = round(plan.between(0.7 if top < 1 else 0.9, top), 2)
    _BUILD[family](plan)
    _surround(plan, family, background)
    return Spec(
        seed=seed,
        family=family,
        duration_s=plan.duration_s,
        mains_hz=round(machine["mains_hz"] + float(np.clip(rng.normal(0, 0.025), -0.08, 0.08)), 4),
        machine=machine,
        gauges=plan.gauges,
        story=tuple(sorted(plan.story, key=lambda told: told[0])),
        events=tuple(sorted(plan.events, key=lambda event: event.start_s)),
        room=_room(rng),
        phone=_phone(rng, phone),
    )


def _machine(rng: np.random.Generator, needs: dict[str, Any], mains_hz: int | None) -> dict[str, Any]:
    choices: dict[str, tuple[Any, ...]] = {
        "pump": ("rotary", "vibratory", "none"),
        "group": ("solenoid", "lever_drain", "manual_lever"),
        "coils": ("ac", "ac", "dc"),
        "fill": ("probe", "manual"),
        "vacuum_valve": (True, True, False),
        "shared_pump": (True, False),
        "heat_control": ("pressurestat", "ssr"),
        "boiler": ("hx", "dual", "single"),
        **needs,
    }
    drawn = {key: values[rng.integers(len(values))] for key, values in choices.items()}
    if drawn["group"] == "manual_lever":
        # It presses the water by hand: a machine that needs a pump has another group.
        if "pump" in needs:
            drawn["group"] = "lever_drain"
        else:
            drawn["pump"] = "none"
    if drawn["pump"] == "none":
        drawn |= {"group": "manual_lever", "fill": "manual", "shared_pump": False, "coils": "ac"}
    if drawn["fill"] == "manual":
        drawn["shared_pump"] = False
    water = {"rotary": "plumbed", "vibratory": "reservoir", "none": "manual"}[drawn["pump"]]
    return {
        "name": f"second bench {int(rng.integers(100, 1000))}",
        "mains_hz": int(rng.choice([50, 60])) if mains_hz is None else mains_hz,
        "pump": drawn["pump"],
        "water": water,
        "group": drawn["group"],
        "boiler": drawn["boiler"],
        "heat_control": drawn["heat_control"],
        "fill": drawn["fill"],
        "coils": drawn["coils"],
        "vacuum_valve": drawn["vacuum_valve"],
        "shared_pump": drawn["shared_pump"],
    }


def _surround(plan: Plan, family: str, background: str | None) -> None:
    """Add something that is not the machine to half of the scenes, softer than where it stands alone."""
    if family == "no_machine":
        return
    if background is None:
        background = str(plan.rng.choice(list(IMPOSTORS))) if plan.rng.random() < 0.5 else "none"
    if background != "none":
        plan.impostor(background, louder_db=-6.0)
    if plan.rng.random() < 0.2:
        for _ in range(int(plan.rng.integers(1, 4))):
            at_s = plan.between(0.2, plan.duration_s - 0.3)
            # A tick where a valve should answer would be the very click that the truth calls absent.
            if all(abs(at_s - told_s) > 0.8 for told_s, _ in plan.story):
                plan.add("tick", "click", at_s)


def _room(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "kind": str(rng.choice(["network", "velvet"])),
        "decay_s": round(float(rng.uniform(0.15, 0.8)), 3),
        "dull": round(float(rng.uniform(0.05, 0.55)), 3),
        "near_db": round(float(rng.uniform(4, 16)), 2),
        "far_db": round(float(rng.uniform(-4, 5)), 2),
        "fall_db": round(float(rng.uniform(3, 6.5)), 2),
    }


def _phone(rng: np.random.Generator, real: bool) -> dict[str, Any]:
    weight = np.array([row[0] for row in _PHONES])
    _, rate_hz, low, high = _PHONES[rng.choice(len(_PHONES), p=weight / weight.sum())]
    drawn: dict[str, Any] = {
        "rate_hz": rate_hz,
        "low_hz": round(float(rng.uniform(*low)), 1),
        "high_hz": round(float(rng.uniform(*high)), 1),
        "bits": "mu-law" if rate_hz == 8000 else int(rng.choice([13, 14, 16, 16])),
        "own_noise_db": round(float(rng.uniform(3, 20)), 2),
        "floor_dbfs": round(float(rng.uniform(-62, -40)), 2),
        "peak": round(float(rng.choice([0.35, 0.7, 0.9, 1.6], p=[0.2, 0.4, 0.3, 0.1])), 3),
        "ratio": round(float(rng.choice([1.0, 1.0, rng.uniform(1.5, 5)])), 2),
        "threshold_dbfs": round(float(rng.uniform(-34, -16)), 2),
        "attack_s": round(float(rng.uniform(0.004, 0.04)), 4),
        "release_s": round(float(rng.uniform(0.12, 0.9)), 3),
    }
    if not real:
        drawn |= {
            "rate_hz": 48_000,
            "low_hz": 20.0,
            "high_hz": 20_000.0,
            "bits": 16,
            "ratio": 1.0,
            "peak": 0.9,
            "own_noise_db": 30.0,
        }
    return drawn
