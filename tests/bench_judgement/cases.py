"""A worked example for each fault, and a twin in which one fact is flipped.

The examples rest on common practice; times and measures are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from listen.bench import Judgement, Machine
from listen.types import SoundEvent
from tests.bench_judgement.scenes import (
    BREW_DID,
    LEVER,
    MANUAL,
    ROTARY,
    SHUT,
    SHUT_DID,
    SHUT_S,
    VIBRATORY,
    brew,
    click,
    ev,
    fill,
    say,
    without,
)

TWO_BOILER = replace(ROTARY, boiler="dual", boiler_band_bar=(0.9, 1.3), safety_valve_plate_bar=1.8)
DOSED = replace(ROTARY, flow_meter=True)
IDLE = ("0:00 idle_hot",)
WARM = ("0:00 warm_up",)


@dataclass(frozen=True)
class Case:
    """One example: events and what is told; `flip` holds the arguments that the twin changes."""

    code: str
    level: str
    events: tuple[SoundEvent, ...] = ()
    machine: Machine = ROTARY
    told: dict[str, Any] = field(default_factory=dict)
    flip: dict[str, Any] = field(default_factory=dict)
    verdict: str = "abnormal"

    def judge(self, **changes: Any) -> Judgement:
        given: dict[str, Any] = {"events": self.events, "machine": self.machine, **self.told, **changes}
        events = given.pop("events")
        return say(*events, **given)


def _clicks(period_s: float) -> tuple[SoundEvent, ...]:
    return tuple(click(5.0 + i * period_s) for i in range(7))


def _run(end_s: float, *more: SoundEvent) -> tuple[SoundEvent, ...]:
    return (click(3.0), ev("motor_run", 3.1, end_s, slip=0.04), click(end_s), *more)


_FILLS = tuple(e for t in (10.0, 45.0, 80.0) for e in fill(t, t + 4.0))
_BUZZ = ev("mains_buzz", 3.0, 28.0)
_STROKES = tuple(brew("stroke_train"))

CASES: tuple[Case, ...] = (
    Case(
        "missing_click_brew",
        "service",
        SHUT,
        told={"did": SHUT_DID, "at": SHUT_S},
        flip={"events": [click(3.0), *SHUT]},
    ),
    Case(
        "missing_click_fill",
        "service",
        tuple(fill()[1:]),
        told={"did": ("0:03 fill_button",), "at": 15.0},
        flip={"events": fill()},
    ),
    Case(
        "stalled_motor",
        "service",
        (click(3.0), ev("mains_hum", 3.1, 20.0), click(20.0)),
        told={"did": ("0:03 brew_on", "0:20 brew_off")},
        flip={"gauges": {"brew": 9.0}},
    ),
    Case(
        "lasting_hiss",
        "service",
        (click(2.0), ev("hiss", 5.0, 35.0), click(35.0)),
        told={"did": WARM, "gauges": {"boiler": 1.1}},
        flip={"gauges": {"boiler": 0.0}},
    ),
    Case(
        "blast",
        "stop",
        (ev("blast", 5.0, 15.0),),
        told={"did": IDLE},
        flip={"did": ("0:05 steam_open", "0:15 steam_closed")},
    ),
    Case(
        "starved_pump",
        "service",
        (*brew(), ev("gravel", 6.0, 25.0)),
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case("no_burst", "stop", tuple(without(brew(), 3, 4)), told={"did": BREW_DID}, flip={"machine": MANUAL}),
    Case("fill_too_often", "service", _FILLS, told={"did": IDLE, "at": 100.0}, flip={"events": _FILLS[:6]}),
    Case(
        "fill_never_ends",
        "stop",
        _run(90.0),
        told={"did": ("0:00 idle_hot", "0:03 auto_fill"), "at": 95.0},
        flip={"did": ("0:00 cold_start",)},
    ),
    Case(
        "solenoid_buzz",
        "service",
        (*brew(), _BUZZ),
        told={"did": BREW_DID},
        flip={"machine": replace(ROTARY, coils="dc")},
    ),
    Case(
        "chatter",
        "service",
        (click(1.0), ev("click_train", 5.0, 9.0)),
        told={"did": IDLE},
        flip={"events": (click(1.0), ev("click_train", 5.0, 9.0, rate_hz=1.0))},
    ),
    Case(
        "relay_cycling",
        "service",
        _clicks(6.0),
        told={"did": IDLE, "at": 60.0},
        flip={"events": _clicks(60.0), "at": 400.0},
    ),
    Case(
        "flow_runs_on",
        "service",
        (*brew()[:4], ev("water_flow", 24.0, 36.0)),
        told={"did": BREW_DID},
        flip={"events": (*brew()[:4], ev("water_flow", 24.0, 29.0))},
    ),
    Case(
        "pump_runs_on",
        "service",
        (*brew()[:1], ev("motor_run", 3.1, 37.0), click(28.0), ev("burst", 28.1, 29.0), click(37.0)),
        told={"did": BREW_DID},
        flip={"machine": LEVER},
    ),
    Case(
        "valve_simmer",
        "service",
        (click(2.0), ev("squeal", 5.0, 20.0)),
        machine=replace(TWO_BOILER, safety_valve_plate_bar=1.6),
        told={"did": IDLE, "gauges": {"boiler": 1.35}},
        flip={"events": (click(2.0),)},
    ),
    Case(
        "vacuum_valve_shut",
        "service",
        (click(2.0), ev("boil", 60.0, 500.0)),
        told={"did": ("0:00 cold_start",), "gauges": {"boiler": 0.9}, "at": 560.0},
        flip={
            "events": (click(2.0), ev("boil", 60.0, 500.0), ev("hiss", 300.0, 380.0)),
            "gauges": {"boiler": 0.0},
        },
    ),
    Case(
        "tap_passes",
        "watch",
        (click(2.0), ev("splutter", 5.0, 20.0, rate_hz=5.0)),
        told={"did": IDLE},
        flip={"events": (click(2.0),)},
    ),
    Case(
        "choked_brew",
        "watch",
        (),
        told={"said": "The pump strains, nothing comes out."},
        flip={"said": "The pump sounds as always."},
        verdict="cannot_tell",
    ),
    Case(
        "pump_dry",
        "watch",
        (click(3.0), ev("stroke_train", 3.1, 9.0), ev("rattle", 3.3, 8.9)),
        machine=VIBRATORY,
        told={"did": ("0:00 idle_hot", "0:03 auto_fill", "0:09 idle_hot"), "at": 15.0},
        flip={
            "events": (
                click(3.0),
                ev("stroke_train", 3.1, 9.0),
                ev("rattle", 3.3, 8.9),
                ev("water_flow", 3.5, 9.0),
            )
        },
    ),
    Case(
        "loose_parts",
        "watch",
        (*brew(), ev("rattle", 5.0, 27.0)),
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case(
        "missing_strokes",
        "watch",
        (_STROKES[0], ev("stroke_train", 3.1, 28.0, strokes_hz=50.0, missing_fraction=0.2), *_STROKES[2:]),
        machine=VIBRATORY,
        told={"did": BREW_DID},
        flip={"said": "It has pressure profiling."},
    ),
    Case(
        "pump_squeal",
        "service",
        (*brew(), ev("squeal", 6.0, 25.0)),
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case(
        "motor_growl",
        "service",
        (*brew(), ev("scrape", 6.0, 25.0)),
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case(
        "fill_timeout",
        "service",
        _run(95.0, ev("beep", 96.0, 96.3)),
        told={"did": ("0:00 cold_start",), "at": 110.0},
        flip={"events": _run(40.0)},
    ),
    Case(
        "water_hammer",
        "watch",
        (*fill(3.0, 8.0), ev("bang", 8.05, 8.3)),
        told={"did": ("0:03 fill_button",), "at": 15.0},
        flip={"events": fill(3.0, 8.0)},
    ),
    Case(
        "boiler_crackle",
        "stop",
        (click(2.0), ev("gravel", 5.0, 30.0), ev("boil", 4.0, 38.0)),
        told={"did": WARM},
        flip={"events": (click(2.0), ev("boil", 4.0, 38.0))},
    ),
    Case(
        "element_failed",
        "stop",
        (click(2.0), ev("bang", 20.0, 20.3, level_db=36.0)),
        told={"did": WARM},
        flip={"said": "I dropped a cup."},
        verdict="cannot_tell",
    ),
    Case(
        "stays_cold",
        "service",
        (click(2.0), click(300.0)),
        told={"did": ("0:00 warm_up",), "gauges": {"boiler": 0.0}, "at": 700.0},
        flip={"events": (click(2.0), ev("boil", 100.0, 600.0))},
    ),
    Case(
        "limit_tripped",
        "stop",
        told={"said": "It only heats again when I press the red button."},
        flip={"said": "It heats when I press the button."},
        verdict="cannot_tell",
    ),
    Case(
        "heater_sings",
        "watch",
        tuple(ev("mains_buzz", 5.0 * i, 5.0 * i + 1.5) for i in range(1, 7)),
        machine=replace(ROTARY, heat_control="pressurestat"),
        told={"did": WARM},
        flip={"machine": replace(ROTARY, heat_control="ssr")},
    ),
    Case(
        "weak_discharge",
        "service",
        (*brew()[:3], ev("burst", 28.05, 28.12)),
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case(
        "overpressure_valve",
        "watch",
        (*_STROKES, ev("honk", 5.0, 27.5, tone_hz=300.0)),
        machine=VIBRATORY,
        told={"did": BREW_DID},
        flip={"events": _STROKES},
    ),
    Case(
        "expansion_valve",
        "service",
        (*brew(), ev("splutter", 5.0, 27.5)),
        machine=TWO_BOILER,
        told={"did": BREW_DID},
        flip={"events": brew()},
    ),
    Case(
        "expansion_valve_shut",
        "stop",
        (click(2.0),),
        told={"did": WARM, "gauges": {"brew": 11.8}},
        flip={"gauges": {"brew": 2.0}},
    ),
    Case(
        "group_gurgle",
        "watch",
        (click(2.0), ev("gurgle", 5.0, 35.0)),
        told={"did": IDLE},
        flip={"events": (click(2.0), ev("gurgle", 5.0, 8.0))},
        verdict="cannot_tell",
    ),
    Case(
        "lever_scrape",
        "watch",
        (click(2.0), ev("scrape", 3.0, 8.0)),
        machine=MANUAL,
        told={"did": ("0:00 lever_pull",)},
        flip={"events": (click(2.0), ev("water_flow", 3.0, 20.0))},
    ),
    Case(
        "another_appliance",
        "fine",
        (ev("motor_run", 2.0, 30.0),),
        told={"did": ("0:00 off_at_wall",)},
        flip={"did": ("0:00 auto_fill",)},
        verdict="cannot_tell",
    ),
    Case(
        "alarm_beeps",
        "watch",
        (click(3.0), ev("beep", 20.0, 20.3), ev("beep", 22.0, 22.3)),
        told={"did": IDLE},
        flip={"events": (click(3.0), ev("beep", 20.0, 20.3))},
        verdict="cannot_tell",
    ),
    Case(
        "valve_passes",
        "stop",
        (ev("water_flow", 5.0, 40.0, open_end=True),),
        told={"did": ("0:00 off_at_wall",)},
        flip={"events": (ev("water_flow", 5.0, 30.0),)},
    ),
    Case(
        "heater_never_stops",
        "stop",
        (click(2.0), ev("boil", 3.0, 120.0, open_end=True)),
        machine=TWO_BOILER,
        told={"did": IDLE, "gauges": {"boiler": 1.36}, "at": 120.0},
        flip={"events": (click(2.0), ev("boil", 3.0, 20.0))},
    ),
    Case(
        "probe_reads_full",
        "stop",
        (click(5.0), ev("hiss", 5.2, 30.0)),
        told={"did": ("0:05 hot_water_open", "0:30 hot_water_closed")},
        flip={"events": (click(5.0), ev("hiss", 5.2, 30.0), ev("water_flow", 5.1, 30.0))},
        verdict="cannot_tell",
    ),
    Case(
        "boiler_overfull",
        "service",
        (ev("hiss", 5.0, 30.0), ev("splutter", 6.0, 29.0)),
        told={"did": ("0:05 steam_open", "0:30 steam_closed")},
        flip={"events": (ev("hiss", 5.0, 30.0), ev("splutter", 5.0, 8.5))},
    ),
    Case(
        "arcing",
        "stop",
        (click(2.0), ev("arcing", 10.0, 12.0)),
        told={"did": IDLE},
        flip={"events": (click(2.0),)},
    ),
    Case(
        "pump_missing",
        "service",
        (click(3.0), ev("water_flow", 3.5, 27.0), click(28.0)),
        told={"did": BREW_DID},
        flip={"events": (*brew(), ev("water_flow", 3.5, 27.0))},
    ),
    Case(
        "brew_too_long",
        "service",
        _run(80.0, ev("burst", 80.1, 81.0)),
        machine=DOSED,
        told={"did": ("0:03 brew_on",), "at": 90.0},
        flip={"events": _run(30.0, ev("burst", 30.1, 31.0))},
    ),
    Case(
        "drain_backs_up",
        "service",
        told={"said": "The tray overflows."},
        flip={"said": "The tray is fine."},
        verdict="cannot_tell",
    ),
    Case(
        "maybe_dry",
        "stop",
        machine=MANUAL,
        told={"said": "I left it on for three hours."},
        flip={"said": "I left it off for three hours."},
        verdict="cannot_tell",
    ),
    Case(
        "active_in_standby",
        "watch",
        (click(3.0), ev("motor_run", 3.1, 12.0, slip=0.04)),
        told={"did": ("0:00 standby",)},
        flip={"events": (click(3.0),)},
        verdict="cannot_tell",
    ),
    Case(
        "unlike_itself",
        "watch",
        tuple(brew()),
        machine=replace(ROTARY, timings={"brew_run": (30.0, 34.0)}),
        told={"did": BREW_DID},
        flip={"machine": ROTARY},
        verdict="cannot_tell",
    ),
    Case(
        "no_pressure",
        "watch",
        told={"said": "The pump hums, no pressure."},
        flip={"said": "The pump hums, no pressure.", "gauges": {"brew": 9.0}},
        verdict="cannot_tell",
    ),
    Case(
        "idle_trickle",
        "service",
        (click(2.0), ev("water_flow", 5.0, 35.0)),
        told={"did": IDLE},
        flip={"did": ("0:00 hot_water",)},
    ),
    Case(
        "open_run",
        "watch",
        _run(20.0),
        flip={"events": _run(20.0, ev("burst", 20.1, 21.0))},
        verdict="cannot_tell",
    ),
    Case("unexplained_sound", "watch", (ev("hiss", 5.0, 30.0),), flip={"events": ()}, verdict="cannot_tell"),
    Case(
        "gauge_high",
        "stop",
        (click(2.0),),
        machine=TWO_BOILER,
        told={"gauges": {"boiler": 1.45}},
        flip={"gauges": {"boiler": 1.2}},
        verdict="cannot_tell",
    ),
    Case(
        "gauge_in_red",
        "stop",
        (click(2.0),),
        machine=TWO_BOILER,
        told={"gauges": {"boiler": 1.75}},
        flip={"gauges": {"boiler": 1.2}},
        verdict="cannot_tell",
    ),
    Case(
        "brew_gauge_high",
        "service",
        (click(2.0),),
        told={"gauges": {"brew": 13.0}},
        flip={"gauges": {"brew": 9.0}},
        verdict="cannot_tell",
    ),
    Case(
        "line_gauge_high",
        "service",
        (click(2.0),),
        told={"gauges": {"line": 7.0}},
        flip={"gauges": {"line": 3.0}},
        verdict="cannot_tell",
    ),
)
