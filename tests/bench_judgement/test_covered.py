"""What other sounds cover or imitate: a discharge under voices, flows and pumps beside other motors, jets and water."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.types import Limit
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
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

SPEECH = Limit("masked", "Speech hides the machine.", ("click", "burst"), 26.0, 34.0, retake="Record again.")
SPOKEN_OVER = replace(GOOD, limits=(SPEECH,))
THROUGH = {"open_start": True, "open_end": True}


def brewed_without_discharge(pump: str = "motor_run", **measures: float) -> list:
    return [click(3.0), ev(pump, 3.1, 28.0, slip=0.04, **measures), click(28.0)]


@pytest.mark.parametrize(
    ("pump", "machine", "after_db", "missed"),
    [
        ("motor_run", ROTARY, -6.0, True),
        ("motor_run", ROTARY, 3.0, False),
        # Behind a pump of strokes a discharge stands further out (scenes of both generators).
        ("stroke_train", VIBRATORY, 3.0, True),
        ("stroke_train", VIBRATORY, 6.0, False),
    ],
)
def test_a_voice_softer_than_a_discharge_hides_none(pump, machine, after_db, missed) -> None:
    events = brewed_without_discharge(pump, after_db=after_db)
    said = say(*events, did=BREW_DID, quality=SPOKEN_OVER, machine=machine)
    assert codes(said) == ["no_burst"] and said.level == "stop"
    assert said.verdict == ("abnormal" if missed else "cannot_tell")
    # Where it was not measured, the voice may hide it: the handle stays locked, and nothing is proven.
    unmeasured = say(*brewed_without_discharge(pump), did=BREW_DID, quality=SPOKEN_OVER, machine=machine)
    assert unmeasured.verdict == "cannot_tell"


def test_a_jet_softer_than_a_discharge_hides_none_and_a_discharge_that_is_heard_is_none_missing() -> None:
    jet = ev("hiss", 27.0, 33.0, p=0.7)
    soft = say(*brewed_without_discharge(after_db=-6.0), jet, did=BREW_DID)
    assert "no_burst" in codes(soft)
    assert "no_burst" not in codes(say(*brewed_without_discharge(after_db=3.0), jet, did=BREW_DID))
    events = brew()
    events[1] = ev("motor_run", 3.1, 28.0, slip=0.04, after_db=-6.0)
    assert "no_burst" not in codes(say(*events, did=BREW_DID))


def test_a_telephone_may_take_a_discharge_away_however_soft_the_rest() -> None:
    codec = Limit("narrow_band", "Telephone band.", ("burst", "hiss"), retake="Send the file.")
    telephone = replace(GOOD, band_hz=(300.0, 3400.0), limits=(codec,))
    said = say(*brewed_without_discharge(after_db=-20.0), did=BREW_DID, quality=telephone)
    assert said.verdict == "cannot_tell"


def test_the_end_of_a_pump_that_was_lost_early_is_told_by_the_mark() -> None:
    """A grinder starts as the brew ends: the discharge lies under it, though the pump was lost before."""
    grinder = Limit("masked", "Grinder hides the machine.", ("*",), 27.9, 31.0, retake="Record again.")
    events = [click(3.0), ev("motor_run", 3.1, 27.1, slip=0.04), click(28.0), ev("grinder", 27.9, 31.0)]
    said = say(*events, did=BREW_DID, quality=replace(GOOD, limits=(grinder,)))
    assert said.verdict == "cannot_tell"


def test_strokes_that_seem_to_begin_before_the_brew_are_its_pump() -> None:
    did = ("0:00 idle_hot", "0:05 brew_on", "0:28 brew_off")
    early = [ev("stroke_train", 1.0, 28.0), click(28.0)]
    assert "no_burst" in codes(say(*early, did=did, machine=VIBRATORY))
    # A motor that runs before may be another appliance.
    fridge = [ev("motor_run", 1.0, 28.0, slip=0.04), click(28.0)]
    assert "no_burst" not in codes(say(*fridge, did=did))


@pytest.mark.parametrize(
    ("shaft_hz", "clicks", "stops"), [(49.2, 1, True), (22.7, 1, False), (49.2, 0, False)]
)
def test_a_pump_that_a_click_starts_as_a_refrigerator_stops_is_a_run_of_its_own(
    shaft_hz, clicks, stops
) -> None:
    """Load alone changes the rate of one motor by less."""
    fridge = ev("motor_run", 0.0, 3.4, shaft_hz=22.6, open_start=True)
    pump = ev("motor_run", 3.1, 28.0, shaft_hz=shaft_hz)
    said = say(fridge, *[click(3.0)] * clicks, pump, click(28.0), did=BREW_DID)
    assert ("no_burst" in codes(said)) is stops


def test_a_motor_that_outlasts_the_pump_is_no_pump_of_the_water_that_runs_on() -> None:
    events = brew(end=28.0)[:4]
    flow = ev("water_flow", 12.0, 54.0, p=0.6)
    fridge = ev("motor_run", 3.1, 54.0, slip=0.04, open_end=True)
    said = say(*events, flow, fridge, did=BREW_DID, at=54.0)
    assert "flow_runs_on" in codes(said) and said.level == "stop"
    # A motor that starts later, and without a click, is none either; with one it may be a fill.
    later = ev("motor_run", 33.0, 54.0, slip=0.04, open_end=True)
    assert "flow_runs_on" in codes(say(*events, flow, later, did=BREW_DID, at=54.0))
    assert "flow_runs_on" not in codes(say(*events, flow, click(33.0), later, did=BREW_DID, at=54.0))


@pytest.mark.parametrize(("grinder_s", "level"), [((12.5, 20.0), "stop"), ((40.0, 44.0), "watch")])
def test_strokes_lost_under_a_grinder_are_one_run(grinder_s, level) -> None:
    did = ("0:02 brew_on", "0:08 brew_off")
    strokes = [ev("stroke_train", 2.1, 12.0), ev("stroke_train", 20.5, 50.0, open_end=True)]
    said = say(
        click(2.0), *strokes, ev("grinder", *grinder_s), did=did, at=50.0, machine=replace(VIBRATORY, shared_pump=None),
        said="I stop the shot and it keeps running.",
    )  # fmt: skip
    assert {f.code: f.level for f in said.findings}.get("pump_runs_on", "watch") == level


@pytest.mark.parametrize("state", ["off_at_wall", "standby"])
def test_a_steady_noise_while_off_may_be_water(state: str) -> None:
    did = (f"0:00 {state}",)
    unsure = say(ev("hiss", 0.0, 20.0, p=0.6, **THROUGH), did=did, at=20.0)
    assert unsure.level == "stop" and "valve_passes" in codes(unsure) and "not sure" in str(unsure.say_first)
    # One that a single second vouches for is steam, and judged as that; one that ends is neither.
    assert "valve_passes" not in codes(say(ev("hiss", 0.0, 20.0, p=0.9, **THROUGH), did=did, at=20.0))
    assert "valve_passes" not in codes(say(ev("hiss", 0.0, 12.0, p=0.6), did=did, at=20.0))


@pytest.mark.parametrize("level_db", [-0.04, 0.0, 20.0])
def test_water_that_fills_the_clip_stands_over_nothing_and_stops_all_the_same(level_db: float) -> None:
    flow = ev("water_flow", 0.5, 20.0, p=0.6, open_end=True, level_db=level_db)
    said = say(flow, did=("0:00 standby",), at=20.0)
    assert said.level == "stop" and codes(said)[0] == "valve_passes"


def test_a_flow_whose_end_a_voice_covers_has_not_ended() -> None:
    flow, did = ev("water_flow", 0.0, 15.0, p=0.6, open_start=True), ("0:00 off_at_wall",)
    assert say(flow, ev("speech", 14.0, 19.0), did=did, at=20.0).level == "stop"
    assert say(flow, ev("speech", 8.0, 12.0), did=did, at=20.0).level == "watch"


@pytest.mark.parametrize(("clicks", "level"), [((), "stop"), ((6.0,), "watch")])
def test_a_fan_that_starts_without_a_click_while_off_pumps_no_water(clicks, level) -> None:
    flow = ev("water_flow", 0.0, 20.0, p=0.6, **THROUGH)
    fan = ev("motor_run", 6.0, 18.0, slip=0.03)
    assert say(flow, fan, *(click(at_s) for at_s in clicks), did=("0:00 standby",), at=20.0).level == level


def test_a_motor_through_the_whole_clip_is_no_pump_of_a_crackling_boiler() -> None:
    crackles = [ev("boil", 0.0, 22.0, **THROUGH), ev("gravel", 7.0, 22.0, p=0.9)]
    fridge = ev("motor_run", 0.0, 22.0, slip=0.03, open_start=True)
    said = say(*crackles, fridge, did=("0:00 warm_up",), at=23.0)
    assert said.level == "stop" and "boiler_crackle" in codes(said)
    # A pump that starts with its click is gravelly itself.
    pump = [click(6.5), ev("motor_run", 6.6, 22.0, slip=0.03)]
    assert "boiler_crackle" not in codes(say(*crackles, *pump, did=("0:00 warm_up",), at=23.0))


def test_a_motor_through_a_warm_up_is_asked_about_and_one_that_starts_in_it_stops() -> None:
    did = ("0:00 warm_up",)
    fridge = ev("motor_run", 1.6, 98.4, slip=0.03)
    asked = say(fridge, did=did, at=100.0)
    assert asked.level == "watch" and codes(asked) == ["fill_never_ends"]
    assert "switch off at the plug" in str(asked.question)
    assert say(*fill(5.0, 99.0)[:2], did=did, at=100.0).level == "stop"
    strokes = ev("stroke_train", 0.0, 100.0, **THROUGH)
    assert say(strokes, did=did, at=100.0, machine=VIBRATORY).level == "stop"


@pytest.mark.parametrize(
    ("level_db", "p", "level"), [(45.0, 0.95, "stop"), (30.0, 0.95, "watch"), (45.0, 0.6, "watch")]
)
def test_a_very_loud_hiss_without_a_story_stops(level_db: float, p: float, level: str) -> None:
    said = say(ev("hiss", 5.0, 18.0, p=p, level_db=level_db), at=20.0)
    assert said.level == level
    if level == "stop":
        assert said.verdict == "cannot_tell" and "tap open" in said.say_first


@pytest.mark.parametrize(("growth", "level"), [(1.6, "stop"), (1.0, "watch")])
def test_boiling_that_slowly_grows_at_idle_stops(growth: float, level: str) -> None:
    boil = ev("boil", 0.0, 100.0, growth_db_per_min=growth, level_db=5.0, **THROUGH)
    assert say(boil, did=("0:00 idle_hot",), at=100.0).level == level


@pytest.mark.parametrize("burst_s", [27.9, 28.1])
def test_what_discharges_had_a_valve_that_opened_though_its_click_was_not_heard(burst_s: float) -> None:
    """Behind a valve that stays shut the group never comes under pressure (common practice)."""
    discharged = [*shut(), ev("burst", burst_s, 29.0)]
    said = say(*discharged, did=BREW_DID)
    assert said.verdict == "cannot_tell" and "missing_click_brew" not in codes(said)
    assert "Expected and not heard: click" in said.because
    # A hiss long after, or the discharge of a brew before, is no answer of this valve.
    before = [click(1.0), ev("motor_run", 1.1, 8.0), click(8.0), ev("burst", 8.1, 9.0)]
    two = say(
        *before, *shut(start=20.0, end=45.0), did=("0:01 brew_on", "0:08 brew_off", "0:20 brew_on"), at=45.0
    )
    assert "missing_click_brew" in codes(two)


def test_a_missing_click_with_a_discharge_that_the_clip_cannot_carry_keeps_the_handle_locked() -> None:
    call = replace(GOOD, limits=(Limit("narrow_band", "A call.", ("hiss", "burst")),))
    silent = shut()
    bad = say(*silent, did=BREW_DID, quality=call)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "stop", "missing_click_brew")
    assert "handle" in bad.findings[0].stop_kinds
    # One that is heard, or a click that is there, or a group that has no such valve: nothing of it is proven.
    assert say(*without(brew(), 0), did=BREW_DID, quality=call).level == "watch"
    clicked = say(*(e for e in brew() if e.sound != "burst"), did=BREW_DID, quality=call)
    assert clicked.verdict == "cannot_tell" and codes(clicked) == ["no_burst"]
    assert "missing_click_brew" not in codes(say(*silent, did=BREW_DID, quality=call, machine=MANUAL))


@pytest.mark.parametrize("state", ["off_at_wall", "standby"])
def test_a_loud_noise_without_a_name_while_off_is_asked_about(state: str) -> None:
    """Who records a machine that is off records what it does (common practice); the ear names water where it is that."""
    noise = ev("other", 0.0, 20.0, p=0.5, **THROUGH)
    off = say(noise, did=(f"0:00 {state}",), at=20.0)
    assert (off.verdict, off.level) == ("cannot_tell", "watch") and "from the machine" in str(off.question)
    assert say(noise, did=("0:00 idle_hot",), at=20.0).level != "stop"


GLASS = "The sight glass is half full."


@pytest.mark.parametrize(
    ("state", "said", "level"),
    [
        ("warm_up", "", "stop"),
        ("cold_start", "", "stop"),
        ("warm_up", GLASS, "service"),
        ("idle_hot", "", "watch"),
    ],
)
def test_what_crackles_in_a_warm_up_may_be_a_heater_that_stands_dry(
    state: str, said: str, level: str
) -> None:
    """While it warms up the heater is on, whether it is heard or not (common practice)."""
    crackle = ev("gravel", 4.0, 18.0)
    assert say(crackle, did=(f"0:00 {state}",), at=20.0, said=said).level == level


def test_strokes_that_begin_before_others_have_ended_are_one_pump() -> None:
    """A discharge covers the beat for a moment; the pump that goes on behind it is the one that was to stop."""
    strokes = [
        ev("stroke_train", 1.8, 8.1, strokes_hz=60.0),
        ev("stroke_train", 7.4, 26.7, strokes_hz=60.0, open_end=True),
    ]
    clicks = [click(1.8), ev("burst", 7.5, 8.3, decay_ms=300.0)]
    told = say(
        *clicks, *strokes, machine=VIBRATORY, did=("0:00 idle_hot", "0:01.8 brew_on", "0:07.4 brew_off"), at=26.7,
        said="I stop the shot and it keeps running.",
    )  # fmt: skip
    assert told.level == "stop" and "pump_runs_on" in codes(told)
