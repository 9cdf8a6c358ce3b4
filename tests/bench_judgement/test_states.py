"""A worked example for each state, and a twin in which one fact is flipped (common practice; times invented)."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from listen.types import SoundEvent
from listen.vocabulary import STATES
from tests.bench_judgement.scenes import (
    MANUAL,
    ROTARY,
    VIBRATORY,
    brew,
    click,
    codes,
    ev,
    fill,
    say,
    shut,
    without,
)

BREW = tuple(brew())
BREWED = ("0:03 brew_on", "0:28 brew_off")
SPLIT = ("0:00 idle_hot", "0:03 brew_start", "0:05 brew", "0:28 brew_end")
VENT = (ev("hiss", 5.0, 35.0), click(35.0))
TAP = (click(5.0), ev("splutter", 5.1, 8.0), ev("water_flow", 5.2, 30.0), click(30.0))
BOIL = ev("boil", 4.0, 24.0)


@dataclass(frozen=True)
class StateCase:
    """What belongs to a state; `flip` holds the one argument that the twin changes, `code` what it then is."""

    state: str
    events: tuple[SoundEvent, ...]
    told: dict[str, Any]
    flip: dict[str, Any]
    code: str
    level: str
    machine: Any = ROTARY
    quiet: tuple[str, ...] = field(default=("fine", "watch"))


CASES: tuple[StateCase, ...] = (
    StateCase(
        "off_at_wall", (click(5.0), click(11.0)), {"did": ("0:00 off_at_wall",)},
        {"events": (click(5.0), ev("water_flow", 6.0, 40.0, open_end=True))}, "valve_passes", "stop",
    ),
    StateCase(
        "cold_start", (click(3.0), ev("motor_run", 3.1, 90.0), click(90.0)), {"did": ("0:00 cold_start",), "at": 200.0},
        {"events": (click(3.0), ev("motor_run", 3.1, 195.0), click(195.0))}, "fill_never_ends", "stop",
    ),
    StateCase(
        "warm_restart", VENT, {"did": ("0:00 warm_restart",), "gauges": {"boiler": 0.0}}, {"gauges": {"boiler": 1.1}},
        "lasting_hiss", "service",
    ),
    StateCase(
        "warm_up", (ev("bang", 9.0, 9.3, level_db=36.0), ev("boil", 1.0, 40.0)),
        {"did": ("0:00 warm_up",), "said": "I hit the knock-box."}, {"said": ""}, "element_failed", "stop",
    ),
    StateCase(
        "vent_closing", VENT, {"did": ("0:00 vent_closing",), "gauges": {"boiler": 0.05}}, {"gauges": {"boiler": 1.1}},
        "lasting_hiss", "service",
    ),
    StateCase(
        "idle_hot", (click(3.8), BOIL, click(24.1)), {"did": ("0:00 idle_hot",)},
        {"events": (click(3.8), BOIL, click(24.1), ev("blast", 30.0, 38.0))}, "blast", "stop",
    ),
    StateCase(
        "auto_fill", tuple(fill()), {"did": ("0:00 idle_hot", "0:03 auto_fill", "0:08 idle_hot")}, {"events": tuple(fill()[1:])},
        "missing_click_fill", "service",
    ),
    StateCase("brew_start", BREW, {"did": SPLIT}, {"events": tuple(shut())}, "missing_click_brew", "stop"),
    StateCase("brew", BREW, {"did": SPLIT}, {"events": (*BREW, ev("gravel", 6.0, 25.0))}, "starved_pump", "service"),
    StateCase("brew_end", BREW, {"did": SPLIT}, {"events": tuple(without(list(BREW), 3, 4))}, "no_burst", "stop"),
    StateCase(
        "steam", (ev("hiss", 5.2, 20.0),), {"did": ("0:00 idle_hot", "0:05 steam", "0:20 idle_hot"), "gauges": {"boiler": 1.1}},
        {"did": ("0:00 idle_hot",)}, "lasting_hiss", "service",
    ),
    StateCase(
        "hot_water", TAP, {"did": ("0:00 idle_hot", "0:05 hot_water", "0:30 idle_hot")},
        {"events": (click(5.0), ev("hiss", 5.2, 30.0), click(30.0))}, "probe_reads_full", "stop",
    ),
    StateCase(
        "standby", (click(5.0), click(20.0)), {"did": ("0:00 standby",)},
        {"events": (click(5.0), ev("motor_run", 8.0, 20.0), click(20.0))}, "active_in_standby", "watch",
    ),
    StateCase(
        "cool_down", (click(2.0), ev("boil", 0.0, 25.0, open_start=True)), {"did": ("0:00 cool_down",)},
        {"events": (click(2.0), ev("hiss", 5.0, 39.0))}, "lasting_hiss", "service",
    ),
    StateCase(
        "lever_pull", (click(3.0), ev("water_flow", 4.0, 30.0)), {"did": ("0:00 idle_hot", "0:03 lever_pull")},
        {"events": (click(3.0), ev("water_flow", 4.0, 30.0), ev("scrape", 6.0, 14.0))}, "lever_scrape", "watch", MANUAL,
    ),
    StateCase(
        "back_flush", (click(3.0), ev("motor_run", 3.1, 13.0, slip=0.05), click(13.0), ev("burst", 13.1, 14.0)),
        {"did": ("0:00 idle_hot", "0:03 back_flush", "0:14 idle_hot")},
        {"events": (click(3.0), ev("motor_run", 3.1, 13.0, slip=0.05), ev("click_train", 5.0, 9.0), click(13.0), ev("burst", 13.1, 14.0))},
        "chatter", "service",
    ),
    StateCase(
        "descale", (click(3.0), ev("stroke_train", 3.1, 28.0), ev("water_flow", 4.0, 28.0), click(28.0)), {"did": ("0:00 descale",)},
        {"events": (click(3.0), ev("stroke_train", 3.1, 28.0), ev("rattle", 4.0, 28.0), click(28.0))}, "pump_dry", "watch", VIBRATORY,
    ),
    StateCase(
        "second_group", BREW, {"did": ("0:00 idle_hot", "0:03 second_group", "0:28 brew_off")},
        {"events": tuple(without(list(BREW), 3, 4))}, "no_burst", "stop",
    ),
    StateCase(
        "line_preinfusion", (click(3.0), ev("water_flow", 3.2, 20.0)), {"did": ("0:00 idle_hot", "0:03 line_preinfusion")},
        {"events": (click(3.0), ev("water_flow", 3.2, 20.0), ev("mains_buzz", 3.2, 20.0))}, "solenoid_buzz", "service",
    ),
    StateCase(
        "cooling_flush", (click(3.0), ev("splutter", 3.2, 8.0), ev("water_flow", 3.2, 20.0)),
        {"did": ("0:00 idle_hot", "0:03 cooling_flush")},
        {"events": (click(3.0), ev("splutter", 3.2, 8.0), ev("water_flow", 3.2, 20.0), ev("arcing", 9.0, 11.0))}, "arcing", "stop",
    ),
)  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.state)
def test_what_belongs_to_a_state_is_left_alone_and_its_twin_is_found(case: StateCase) -> None:
    usual = {"events": case.events, **case.told}
    calm = say(*usual.pop("events"), machine=case.machine, **usual)
    assert calm.verdict != "abnormal" and calm.level in case.quiet, (codes(calm), calm.because)
    assert case.code not in [f.code for f in calm.findings if not f.unproven]
    flipped = {"events": case.events, **case.told, **case.flip}
    twin = say(*flipped.pop("events"), machine=case.machine, **flipped)
    found = {f.code: f.level for f in twin.findings}
    assert found.get(case.code) == case.level, (found, twin.because)
    assert any(span.state == case.state for span in calm.story)


def test_every_state_has_its_example() -> None:
    assert [c.state for c in CASES] == list(dict.fromkeys(c.state for c in CASES))
    assert {c.state for c in CASES} == set(STATES)


def test_the_same_hiss_at_minute_12_and_at_minute_45() -> None:
    """The vent of a cold start, and the same sound at pressure (common practice)."""
    hiss = (click(2.0), ev("hiss", 5.0, 95.0, growth_db_per_min=2.0), click(95.0))
    cold = say(
        *hiss, at=120.0, did=("0:00 warm_up",), gauges={"boiler": 0.0}, said="Minute 12 from cold.",
        machine=replace(ROTARY, vacuum_valve=True),
    )  # fmt: skip
    hot = say(*hiss, at=120.0, did=("0:00 idle_hot",), gauges={"boiler": 1.1}, said="On for 45 minutes.")
    assert (cold.verdict, cold.level) == ("normal", "fine"), cold.because
    assert (hot.verdict, hot.level, codes(hot)[0]) == ("abnormal", "service", "lasting_hiss")
