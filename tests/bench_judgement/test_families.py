"""A worked example for each family, and its twin in which one fact is flipped."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.bench import Judgement
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    LEVER,
    MANUAL,
    ROTARY,
    SHUT,
    SHUT_DID,
    SHUT_S,
    TELEPHONE,
    UNKNOWN,
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


def test_normal_brew_and_one_that_misses_its_click() -> None:
    good = say(*brew(), did=BREW_DID)
    assert (good.verdict, good.level, codes(good)) == ("normal", "fine", [])
    assert good.because.startswith("Nothing unusual heard in this clip")
    assert {e.status for e in good.expected} == {"heard"}
    bad = say(*SHUT, did=SHUT_DID, at=SHUT_S)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "service", "missing_click_brew")
    assert "no click between" in bad.findings[0].speaks_for[0]
    assert [e.status for e in bad.expected if e.sound == "click"] == ["missing"]


@pytest.mark.parametrize("pump", ["motor_run", "stroke_train"])
@pytest.mark.parametrize("shift", [-1.4, 0.0, 1.4])
def test_a_mark_may_be_late_or_early(pump: str, shift: float) -> None:
    machine = ROTARY if pump == "motor_run" else VIBRATORY
    did = (f"{3 + shift:.1f} brew_on", f"{28 + shift:.1f} brew_off")
    good = say(*brew(pump), did=did, machine=machine)
    assert (good.verdict, good.level) == ("normal", "fine"), good.because
    bad = say(*shut(pump), did=did, machine=machine)
    assert codes(bad)[0] == "missing_click_brew"


def test_missing_click_brew_needs_a_group_that_clicks_and_a_clip_that_carries_clicks() -> None:
    told = {"did": SHUT_DID, "at": SHUT_S}
    assert "missing_click_brew" not in codes(say(*SHUT, **told, machine=MANUAL))
    deaf = say(*SHUT, **told, quality=TELEPHONE)
    assert deaf.verdict == "cannot_tell" and "missing_click_brew" not in codes(deaf)
    faint = say(click(3.0, p=0.4), *SHUT, **told)
    assert faint.verdict == "cannot_tell" and "missing_click_brew" not in codes(faint)


def test_a_click_without_brew_story_is_asked_for_not_accused() -> None:
    untold = say(*without(brew(), 0))
    assert "missing_click_brew" not in codes(untold) and untold.verdict == "cannot_tell"


def test_normal_fill_and_one_that_misses_its_click() -> None:
    for did in (
        ("0:00 idle_hot", "0:03 auto_fill", "0:08 idle_hot"),
        ("0:00 idle_hot",),
        ("0:03 fill_button",),
    ):
        good = say(*fill(), did=did, at=15.0)
        assert (good.verdict, good.level) == ("normal", "fine"), (did, good.because)
        bad = say(*fill()[1:], did=did, at=15.0)
        assert codes(bad)[0] == "missing_click_fill"
        told = did != ("0:00 idle_hot",)
        assert bad.verdict == ("abnormal" if told else "cannot_tell")
        assert told or (bad.question and "another appliance" in bad.question)
        manual = say(*fill()[1:], did=did, at=15.0, machine=replace(ROTARY, fill="manual"))
        assert "missing_click_fill" not in codes(manual)


def test_stalled_motor_and_one_that_turns() -> None:
    hum = [click(3.0), ev("mains_hum", 3.1, 20.0), click(20.0)]
    did = ("0:03 brew_on", "0:20 brew_off")
    bad = say(*hum, did=did)
    assert (bad.verdict, codes(bad)[0]) == ("abnormal", "stalled_motor")
    turning = say(*hum, ev("motor_run", 3.2, 20.0), ev("burst", 20.1, 21.0), did=did)
    assert turning.verdict == "normal", turning.because
    assert "stalled_motor" not in codes(say(*hum, did=did, machine=VIBRATORY))
    untold = say(*hum)
    assert untold.verdict == "cannot_tell" and untold.question and "switched on" in untold.question
    deaf = say(*hum, did=did, quality=TELEPHONE)
    assert deaf.verdict == "cannot_tell"
    assert deaf.retake == "Record with the phone's own recorder instead of a call."
    before = say(
        ev("mains_hum", 0.0, 40.0, open_start=True, open_end=True), click(10.0), did=("0:10 brew_on",)
    )
    assert "stalled_motor" not in codes(before)


def test_lasting_hiss_against_the_vent_of_a_warm_up() -> None:
    hiss = ev("hiss", 5.0, 35.0)
    vent = say(hiss, click(35.0), did=("0:00 warm_up",), gauges={"boiler": 0.0})
    assert (vent.verdict, vent.level) == ("normal", "fine"), vent.because
    pressure = say(hiss, click(35.0), did=("0:00 warm_up",), gauges={"boiler": 1.1})
    assert (pressure.verdict, pressure.level, codes(pressure)[0]) == ("abnormal", "service", "lasting_hiss")
    unread = say(hiss, click(35.0), did=("0:00 warm_up",))
    assert (unread.verdict, unread.level) == ("cannot_tell", "watch")
    assert unread.question and "gauge" in unread.question
    idle = say(hiss, click(2.0), did=("0:00 idle_hot",), gauges={"boiler": 1.1})
    assert codes(idle)[0] == "lasting_hiss" and idle.findings[0].strength == "strong"
    idle_unread = say(hiss, click(2.0), did=("0:00 idle_hot",))
    assert codes(idle_unread)[0] == "lasting_hiss" and idle_unread.level == "service"
    assert idle_unread.say_first and "switch off" in idle_unread.say_first
    steam = say(ev("hiss", 5.0, 20.0), did=("0:05 steam_open", "0:20 steam_closed"))
    assert steam.verdict == "normal", steam.because
    goes_on = say(ev("hiss", 5.0, 34.0), did=("0:05 steam_open", "0:20 steam_closed"))
    assert codes(goes_on)[0] == "lasting_hiss"


def test_a_vent_that_does_not_end_is_not_cleared() -> None:
    still = say(ev("hiss", 5.0, 40.0, open_end=True), did=("0:00 vent_closing",), gauges={"boiler": 0.0})
    assert still.verdict == "cannot_tell" and still.level == "watch"


def test_hiss_alone_is_a_question() -> None:
    untold = say(ev("hiss", 5.0, 35.0), machine=UNKNOWN)
    assert untold.verdict == "cannot_tell" and untold.level == "watch"
    assert untold.question and "tap open" in untold.question


def test_blast_by_state() -> None:
    blast = ev("blast", 5.0, 15.0)
    untold = say(blast, machine=UNKNOWN, at=20.0)
    assert (untold.verdict, untold.level) == ("cannot_tell", "stop")
    assert untold.say_first and "tap open" in untold.say_first and "plug" in untold.say_first
    idle = say(blast, did=("0:00 idle_hot",), at=20.0)
    assert (idle.verdict, idle.level, codes(idle)[0]) == ("abnormal", "stop", "blast")
    assert idle.findings[0].stop_kinds == ("stand_clear", "power")
    steam = say(blast, did=("0:05 steam_open", "0:15 steam_closed"), at=20.0)
    assert (steam.verdict, steam.level) == ("normal", "fine"), steam.because
    # Taps, grinders and gravel are hardly sure jets: asked about, no reason to stop.
    for did in (("0:00 idle_hot",), ()):
        assert say(ev("blast", 5.0, 15.0, 0.65), did=did, at=20.0).level == "watch"


def test_starved_pump_with_and_without_a_story() -> None:
    gravel = ev("gravel", 6.0, 25.0)
    told = say(*brew(), gravel, did=BREW_DID)
    assert (told.verdict, told.level, codes(told)[0]) == ("abnormal", "service", "starved_pump")
    assert say(*brew(), gravel).verdict == "abnormal"
    alone = say(gravel, machine=UNKNOWN)
    assert alone.verdict == "cannot_tell" and alone.level == "watch"
    another = say(gravel, ev("motor_run", 0.0, 40.0, open_start=True, open_end=True), machine=UNKNOWN)
    assert another.verdict == "cannot_tell"


def test_no_burst_keeps_the_handle_locked() -> None:
    dry = without(brew(), 3, 4)
    bad = say(*dry, did=BREW_DID)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "stop", "no_burst")
    assert "handle" in bad.findings[0].stop_kinds and bad.say_first and "handle locked" in bad.say_first
    assert say(*dry, did=BREW_DID, machine=UNKNOWN).level == "stop"
    assert say(*dry, did=BREW_DID, machine=UNKNOWN).verdict == "cannot_tell"
    assert "no_burst" not in codes(say(*dry, did=BREW_DID, machine=MANUAL))
    cut = say(*dry, did=BREW_DID, at=29.0)
    assert cut.verdict == "cannot_tell" and "no_burst" not in codes(cut)
    short = [click(3.0), ev("motor_run", 3.1, 6.0), click(6.0)]
    assert "no_burst" not in codes(say(*short, did=("0:03 brew_on", "0:06 brew_off")))
    hissed = say(*dry, ev("hiss", 28.2, 29.5), did=BREW_DID)
    assert hissed.verdict == "cannot_tell" and "no_burst" not in codes(hissed)
    # A jet that began before the brew ended, and goes on over its end, may hide the discharge as well.
    assert "no_burst" not in codes(say(*dry, ev("hiss", 24.0, 36.0), did=BREW_DID))
    assert codes(say(*dry, ev("hiss", 10.0, 20.0), did=BREW_DID))[0] == "no_burst"
    untold = say(*dry)
    assert untold.verdict == "cannot_tell" and untold.question and "handle locked" in untold.question


def test_no_click_and_no_discharge_is_one_finding_that_stops() -> None:
    bad = say(*without(brew(), 0, 3, 4), did=BREW_DID)
    assert codes(bad) == ["missing_click_brew"] and bad.level == "stop"
    assert bad.findings[0].stop_kinds == ("power", "handle")


def test_fill_too_often_counts_and_spares_draws() -> None:
    fills = [e for start in (10.0, 45.0, 80.0, 112.0) for e in fill(start, start + 4.0)]
    bad = say(*fills, did=("0:00 idle_hot",), at=130.0)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "service", "fill_too_often")
    assert bad.findings[0].speaks_for[0].startswith("4 fills at 0:10.0")
    two = say(*fills[:6], did=("0:00 idle_hot",), at=130.0)
    assert two.verdict == "normal", two.because
    drawn = say(*fills, did=("0:00 idle_hot", "0:05 hot_water_open", "0:08 hot_water_closed"), at=130.0)
    assert "fill_too_often" not in codes(drawn)
    untold = say(*fills, at=130.0)
    assert untold.verdict == "cannot_tell" and untold.question and "by itself" in untold.question


def test_fill_never_ends_spares_the_first_fill_and_a_brew() -> None:
    long = [click(3.0), ev("motor_run", 3.05, 90.0), click(90.0)]
    bad = say(*long, did=("0:00 idle_hot", "0:03 auto_fill"), at=95.0)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "stop", "fill_never_ends")
    assert bad.findings[0].stop_kinds == ("power", "water")
    first = say(*long, did=("0:00 cold_start",), at=95.0)
    assert first.verdict == "normal", first.because
    too_long = say(click(3.0), ev("motor_run", 3.05, 200.0), did=("0:00 cold_start",), at=205.0)
    assert too_long.level == "stop"
    untold = say(*long, at=95.0)
    assert untold.verdict == "cannot_tell" and untold.level == "watch"
    assert "fill_never_ends" not in codes(say(*long, did=("0:03 descale",), at=95.0))


def test_solenoid_buzz_and_a_direct_current_coil() -> None:
    buzz = ev("mains_buzz", 3.0, 28.0)
    bad = say(*brew(), buzz, did=BREW_DID)
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "service", "solenoid_buzz")
    dc = say(*brew(), buzz, did=BREW_DID, machine=replace(ROTARY, coils="dc"))
    assert "solenoid_buzz" not in codes(dc)
    soft = say(*brew(), ev("mains_hum", 3.0, 28.0), did=BREW_DID)
    assert soft.verdict == "normal", soft.because
    fridge = say(ev("mains_buzz", 0.0, 40.0, open_start=True, open_end=True), machine=UNKNOWN)
    assert fridge.verdict == "cannot_tell"


def test_chatter_against_a_clock_and_a_flow_meter() -> None:
    train = ev("click_train", 5.0, 9.0)
    assert say(train, did=("0:00 idle_hot",)).verdict == "abnormal"
    untold = say(train, machine=UNKNOWN)
    assert (untold.verdict, untold.level, codes(untold)[0]) == ("abnormal", "service", "chatter")
    clock = say(ev("click_train", 5.0, 30.0, rate_hz=2.0, count=50.0, regularity=0.99), machine=UNKNOWN)
    assert clock.verdict == "cannot_tell"
    # A slow one drops out three times a second and keeps no time.
    slow = ev("click_train", 5.0, 7.4, rate_hz=2.9, count=7.0, regularity=0.6)
    assert codes(say(slow, did=("0:00 idle_hot",))) == ["chatter"]
    few = say(ev("click_train", 5.0, 5.4, rate_hz=10.0, count=4.0), machine=UNKNOWN)
    assert few.verdict == "cannot_tell"
    meter = ev("click_train", 5.0, 27.0, rate_hz=18.0, count=400.0, regularity=0.95)
    assert "chatter" not in codes(say(*brew(), meter, did=BREW_DID))


@pytest.mark.parametrize(
    "events",
    [
        [ev("hiss", 0.0, 40.0, open_start=True, open_end=True)],
        [ev("water_flow", 4.0, 20.0)],
        [ev("fan", 0.0, 40.0), ev("motor_run", 0.0, 40.0, open_start=True, open_end=True)],
        [ev("clatter", 3.0, 3.5), click(3.0), click(7.0), click(9.0)],
        [ev("speech", 0.0, 40.0), click(12.0)],
        [ev("mains_hum", 0.0, 40.0, open_start=True, open_end=True)],
        [ev("beep", 10.0, 10.4)],
        [ev("boil", 0.0, 40.0)],
        [],
    ],
)
def test_a_kitchen_is_not_taken_for_a_machine(events) -> None:
    got = say(*events, machine=UNKNOWN, quality=GOOD)
    assert got.verdict == "cannot_tell" and got.level in ("fine", "watch")


def test_pump_that_runs_on_depends_on_the_shared_pump() -> None:
    events = [click(3.0), ev("motor_run", 3.1, 37.0), click(28.0), ev("burst", 28.1, 29.0), click(37.0)]
    did = BREW_DID
    shared = say(*events, did=did, machine=LEVER)
    assert (shared.verdict, shared.level) == ("normal", "fine"), shared.because
    own = say(*events, did=did, machine=ROTARY)
    assert (own.verdict, codes(own)[0]) == ("abnormal", "pump_runs_on")
    unknown = say(*events, did=did, machine=replace(ROTARY, shared_pump=None))
    assert unknown.verdict == "cannot_tell" and unknown.level == "watch"


@pytest.mark.parametrize(
    ("sound", "whole_from_s", "runs_on"),
    [("stroke_train", 3.1, True), ("stroke_train", 0.0, False), ("motor_run", 3.1, False)],
)
def test_strokes_that_grow_quieter_at_the_stop_and_go_on_are_the_pumps(sound, whole_from_s, runs_on) -> None:
    """The ear may tell the loud stretch and the whole run; what turns beside it may be a refrigerator."""
    loud = ev(sound, 3.1, 28.0)
    whole = ev(sound, whole_from_s, 60.0, open_start=whole_from_s == 0.0, open_end=True)
    machine = replace(VIBRATORY if sound == "stroke_train" else ROTARY, group="solenoid", shared_pump=False)
    burst = ev("burst", 28.1, 29.0)
    got = say(click(3.0), loud, whole, click(28.0), burst, did=BREW_DID, machine=machine, at=60.0)
    assert ("pump_runs_on" in codes(got)) is runs_on


FRIDGE = ev("motor_run", 0.0, 60.0, open_start=True, open_end=True, slip=0.05)


def test_water_that_runs_while_a_refrigerator_turns_runs_all_the_same() -> None:
    flow = ev("water_flow", 0.0, 60.0, open_start=True, open_end=True)
    for state in ("standby", "off_at_wall"):
        got = say(FRIDGE, flow, did=(f"0:00 {state}",), at=60.0)
        assert "valve_passes" in codes(got) and got.level == "stop"
    # On standby a pump that starts and stops may fill; off at the wall nothing of the machine turns.
    for state, level in (("standby", "watch"), ("off_at_wall", "stop")):
        pump = ev("motor_run", 20.0, 60.0)
        assert (
            say(click(20.0), pump, ev("water_flow", 20.2, 60.0), did=(f"0:00 {state}",), at=60.0).level
            == level
        )
    after = [click(3.0), ev("motor_run", 3.1, 28.0), click(28.0), ev("burst", 28.1, 29.0)]
    runs_on = say(FRIDGE, *after, ev("water_flow", 8.0, 60.0, open_end=True), did=BREW_DID, at=60.0)
    assert "flow_runs_on" in codes(runs_on) and runs_on.level == "stop"


def test_three_fills_in_a_night_are_not_too_often() -> None:
    seldom = [e for start in (100.0, 7000.0, 15000.0, 22000.0) for e in fill(start, start + 4.0)]
    quiet = say(*seldom, did=("0:00 idle_hot",), at=28800.0)
    assert quiet.verdict == "normal", quiet.because
    often = [e for start in (100.0, 700.0, 1300.0) for e in fill(start, start + 4.0)]
    assert codes(say(*seldom[3:], *often, did=("0:00 idle_hot",), at=28800.0))[0] == "fill_too_often"


def test_a_hiss_that_the_ear_broke_into_pieces_still_lasts() -> None:
    pieces = [ev("hiss", t, t + 1.5) for t in (3.0, 6.0, 9.0)]
    got = say(*pieces, did=("0:00 idle_hot",), gauges={"boiler": 1.1})
    assert codes(got)[0] == "lasting_hiss" and len(got.findings[0].event_ids) == 3
    assert say(pieces[0], did=("0:00 idle_hot",), gauges={"boiler": 1.1}).verdict == "cannot_tell"


def test_preinfusion_pause_is_one_brew() -> None:
    events = [click(3.0), ev("motor_run", 3.1, 5.0), ev("motor_run", 10.0, 28.0), click(28.0)]
    with_burst = say(*events, ev("burst", 28.1, 29.0), did=("0:03 brew_on",))
    assert with_burst.verdict == "normal", with_burst.because
    assert codes(say(*events, did=BREW_DID))[0] == "no_burst"
    late_pump = [click(3.0), ev("motor_run", 9.0, 28.0), click(28.0), ev("burst", 28.1, 29.0)]
    assert say(*late_pump, did=BREW_DID).verdict == "normal"
    assert codes(say(late_pump[1], did=BREW_DID))[0] == "missing_click_brew"


def test_a_pump_heard_late_does_not_lose_the_click_at_the_mark() -> None:
    events = [click(3.0), ev("motor_run", 4.2, 28.0), click(28.0), ev("burst", 28.1, 29.0)]
    assert say(*events, did=BREW_DID).verdict == "normal"


def test_still_boiling_at_the_end_needs_the_gauge() -> None:
    events = [click(3.0), ev("boil", 3.2, 20.0, open_end=True)]
    assert say(*events, did=("0:00 idle_hot",), gauges={"boiler": 1.1}, at=20.0).verdict == "normal"
    unread = say(*events, did=("0:00 idle_hot",), at=20.0)
    assert unread.verdict == "cannot_tell" and unread.question and "gauge" in unread.question


def test_no_vent_is_excused_on_a_machine_without_a_vacuum_valve() -> None:
    hiss = ev("hiss", 5.0, 35.0)
    for fitted, verdict in ((True, "normal"), (None, "normal"), (False, "cannot_tell")):
        machine = replace(ROTARY, vacuum_valve=fitted)
        got = say(hiss, click(35.0), did=("0:00 warm_up",), gauges={"boiler": 0.0}, machine=machine)
        assert got.verdict == verdict


def test_bang_asks_for_smoke_first() -> None:
    got = say(ev("bang", 5.0, 5.3), machine=UNKNOWN)
    assert got.verdict == "cannot_tell" and got.question and got.question.startswith("Is there smoke")


def test_a_refrigerator_beside_the_machine() -> None:
    """Its motor slips like the pump's; it began before, goes on after, or comes without a click."""
    before = ev("motor_run", 0.0, 35.0, open_start=True, slip=0.05)
    good = say(*brew(), before, did=BREW_DID)
    assert good.verdict == "normal", good.because
    assert codes(say(*shut(), before, did=BREW_DID))[0] == "missing_click_brew"
    assert codes(say(*without(brew(), 3, 4), before, did=BREW_DID))[0] == "no_burst"
    after = ev("motor_run", 30.0, 40.0, open_end=True, slip=0.05)
    vibratory = without(brew("stroke_train"), 3, 4)
    assert codes(say(*vibratory, after, did=BREW_DID, machine=VIBRATORY))[0] == "no_burst"
    three = [ev("motor_run", t, t + 10.0, slip=0.05) for t in (10.0, 40.0, 70.0)]
    for machine in (ROTARY, VIBRATORY):
        got = say(*three, click(5.0), did=("0:00 idle_hot",), at=100.0, machine=machine)
        assert "fill_too_often" not in codes(got)


def test_a_fan_is_no_pump() -> None:
    events = [ev("fan", 10.0, 30.0), ev("motor_run", 10.3, 30.0), click(3.0)]
    got = say(*events, did=("0:00 idle_hot",))
    assert got.verdict == "normal", got.because


def test_a_short_mask_on_the_moment_of_the_click_blocks_it() -> None:
    got = say(*SHUT, ev("grinder", 2.2, 2.9), did=SHUT_DID, at=SHUT_S)
    assert got.verdict == "cannot_tell" and got.level == "watch"
    # It is named as what it could be, and accused of nothing.
    assert [(f.code, f.level, f.strength) for f in got.findings] == [("missing_click_brew", "watch", "weak")]
    assert (
        got.findings[0].symptom.startswith("This clip does not settle it") and got.findings[0].speaks_against
    )


def test_one_beep_is_any_kitchen() -> None:
    once = [ev("beep", 20.0, 20.4), click(3.0)]
    assert say(*once, did=("0:00 idle_hot",)).verdict == "normal"
    twice = say(*once, ev("beep", 22.0, 22.4), did=("0:00 idle_hot",))
    assert twice.verdict == "cannot_tell" and twice.question and "lamp" in twice.question


def test_gravel_is_not_taken_for_chatter() -> None:
    gravel = [ev("gravel", 6.0, 25.0), ev("click_train", 6.2, 24.0)]
    assert codes(say(*brew(), *gravel))[0] == "starved_pump"
    assert "chatter" not in codes(say(*brew(), *gravel, did=BREW_DID))
    assert "chatter" not in codes(say(ev("clatter", 4.0, 8.0), ev("click_train", 5.0, 7.0), machine=UNKNOWN))


def test_what_a_pattern_does_not_prove_its_words_do_not_say() -> None:
    untold = say(click(3.0), ev("motor_run", 3.1, 20.0), machine=UNKNOWN)
    assert codes(untold) == ["open_run"] and "not told" in untold.because
    unread = say(ev("hiss", 5.0, 35.0), click(35.0), did=("0:00 warm_up",))
    assert "may be the vacuum valve" in unread.findings[0].symptom


@pytest.mark.parametrize(
    "events",
    [
        [click(0.4), ev("motor_run", 0.4, 2.6)],
        [click(2.2), ev("motor_run", 2.2, 5.0, open_end=True)],
        [ev("motor_run", 2.2, 3.9), click(3.9)],
        [ev("stroke_train", 2.2, 3.9), ev("burst", 9.0, 9.5)],
    ],
)
def test_one_click_beside_a_motor_is_no_machine_without_a_story(events) -> None:
    assert say(*events, machine=UNKNOWN, at=10.0).verdict == "cannot_tell"


def test_a_short_fill_without_a_story_between_two_clicks() -> None:
    assert say(*fill(3.0, 6.0), machine=UNKNOWN, at=10.0).verdict == "normal"


def test_a_sudden_loud_deep_hiss_stops_and_a_thin_one_does_not() -> None:
    jet = {"level_db": 35.0, "rise_ms": 40.0}
    did = ("0:00 idle_hot",)
    deep = say(ev("hiss", 5.0, 15.0, **jet, centroid_hz=5800.0), did=did)
    assert (codes(deep)[0], deep.level) == ("blast", "stop")
    for other in ({"centroid_hz": 9000.0}, {"centroid_hz": 5800.0, "rise_ms": 900.0}, {"level_db": 12.0}):
        got = say(ev("hiss", 5.0, 15.0, **{**jet, **other}), did=did)
        assert (codes(got)[0], got.level) == ("lasting_hiss", "service")
    # What only goes on like a hiss, with no second that is one for sure, leaks at the most.
    lasting = say(ev("hiss", 5.0, 15.0, 0.6, **jet, centroid_hz=5800.0), did=did)
    assert (codes(lasting)[0], lasting.level) == ("lasting_hiss", "service")
    call = replace(GOOD, band_hz=(50.0, 7000.0))
    unsure = say(ev("hiss", 5.0, 15.0, **jet, centroid_hz=4000.0), did=did, quality=call)
    # A call cuts off what would tell its depth: that lowers nothing.
    assert (unsure.level, unsure.findings[0].code, unsure.findings[0].strength) == ("stop", "blast", "weak")
    slow = say(ev("hiss", 5.0, 15.0, **{**jet, "rise_ms": 900.0}, centroid_hz=4000.0), did=did, quality=call)
    assert (codes(slow)[0], slow.level) == ("lasting_hiss", "service")
    steam = say(
        ev("hiss", 5.0, 15.0, **jet, centroid_hz=5800.0), did=("0:05 steam_open", "0:15 steam_closed")
    )
    assert steam.verdict == "normal"


def test_steam_alone_from_the_hot_water_tap_is_even_and_with_water_it_is_rough() -> None:
    did = ("0:00 idle_hot", "0:02 hot_water_open", "0:14 hot_water_closed")
    call = replace(GOOD, band_hz=(50.0, 7000.0))
    for quality, even, rough in ((GOOD, 3.6, 5.2), (call, 4.5, 7.5)):
        steam, mixed = (
            say(ev("hiss", 2.0, 14.0, 0.68, level_db=30.0, roughness=r), did=did, quality=quality)
            for r in (even, rough)
        )
        assert (codes(steam)[0], steam.level, steam.findings[0].stop_kinds) == (
            "probe_reads_full",
            "stop",
            ("power",),
        )
        # It may still be steam alone: that is asked.
        assert mixed.level == "watch" and "hot-water tap" in mixed.question
        # What is as sure a hiss as this is no water, however rough a room or a codec makes it.
        plain = ev("hiss", 2.0, 14.0, 0.75, level_db=30.0, roughness=rough)
        assert say(plain, did=did, quality=quality).level == "stop"


def test_two_motors_that_start_together_and_one_that_stops_with_the_brew() -> None:
    events = [*brew()[:3], ev("motor_run", 3.1, 39.0)]
    assert codes(say(*events, did=BREW_DID))[0] == "no_burst"


def test_fills_that_are_told_and_clicked_count_though_the_pump_is_drowned() -> None:
    did = ["0:00 idle_hot"]
    for start in (10, 40, 70):
        did += [f"0:{start} auto_fill" if start < 60 else "1:10 auto_fill", f"{start + 4} idle_hot"]
    clicks = [click(t) for t in (10.0, 40.0, 70.0)]
    got = say(*clicks, did=did, at=90.0)
    assert codes(got)[0] == "fill_too_often"
    assert "fill_too_often" not in codes(say(*clicks[:2], did=did, at=90.0))


def test_a_hum_through_one_long_fill_stops_and_through_many_short_ones_does_not() -> None:
    hum = ev("mains_hum", 2.0, 110.0, line_hz=100.0)
    long = say(click(2.0), hum, did=("0:02 auto_fill",), at=112.0)
    assert "fill_never_ends" in codes(long) and long.level == "stop"
    did = [w for t in range(0, 110, 22) for w in (f"{t + 2} auto_fill", f"{t + 17} idle_hot")]
    many = say(click(2.0), hum, did=did, at=112.0)
    assert "fill_never_ends" not in codes(many)


def test_what_turns_through_a_minute_of_a_given_fill_stops_a_machine_that_the_line_fills() -> None:
    line = replace(ROTARY, pump="none", water="plumbed")
    fridge = ev("motor_run", 0.0, 90.0, open_start=True, open_end=True, slip=0.05)
    long = say(click(2.0), fridge, did=("0:00 idle_hot", "0:02 auto_fill"), machine=line, at=90.0)
    assert codes(long)[0] == "fill_never_ends" and long.level == "stop"
    short = ("0:00 idle_hot", "0:02 auto_fill", "0:20 idle_hot")
    assert "fill_never_ends" not in codes(say(click(2.0), fridge, did=short, machine=line, at=90.0))
    # Pieces that overlap are one sound; with a rest between them they are two.
    for begins, stops in ((44.0, True), (47.0, False)):
        pieces = (
            ev("motor_run", 2.0, 45.0, slip=0.05),
            ev("motor_run", begins, 90.0, open_end=True, slip=0.05),
        )
        got = say(click(2.0), *pieces, did=("0:00 idle_hot", "0:02 auto_fill"), machine=line, at=90.0)
        assert ("fill_never_ends" in codes(got)) is stops


def test_a_refrigerator_through_the_whole_clip_is_no_endless_fill_beside_a_pump() -> None:
    fridge = ev("motor_run", 0.0, 116.0, open_start=True, open_end=True, slip=0.05)
    fills = [e for t in (13.0, 51.0, 91.0) for e in fill(t, t + 4.0)]
    got = say(fridge, *fills, did=("0:00 idle_hot",), at=116.0)
    assert "fill_never_ends" not in codes(got) and "fill_too_often" in codes(got)
    # With no other pump heard it may be the pump itself: that stays a stop.
    assert say(fridge, did=("0:00 idle_hot",), at=116.0).level == "stop"


def test_boiling_in_pieces_is_one_boiling_and_cycles_are_not() -> None:
    """The ear breaks a lasting boil into pieces; a heater that cycles rests longer (common practice)."""
    machine = replace(ROTARY, boiler_band_bar=(0.9, 1.3))
    told = {"did": ("0:00 idle_hot",), "gauges": {"boiler": 1.35}, "machine": machine, "at": 60.0}
    pieces = [ev("boil", t, t + 5.0) for t in (1.0, 10.0, 19.0, 28.0)]
    broken = say(click(0.5), *pieces, **told)
    assert (broken.level, codes(broken)[0]) == ("stop", "heater_never_stops")
    cycles = [ev("boil", t, t + 5.0) for t in (1.0, 22.0, 43.0)]
    assert say(click(0.5), *cycles, **told).level != "stop"
    grows = [ev("boil", t, t + 15.0, growth_db_per_min=5.0) for t in (0.0, 20.0, 40.0, 60.0, 80.0)]
    unread = {**told, "gauges": {}, "at": 96.0}
    assert say(*grows, **unread).level == "stop"
    assert say(*(replace(e, measures={"growth_db_per_min": 0.5}) for e in grows), **unread).level != "stop"


def test_a_release_that_goes_on_as_a_hiss_stops_and_a_brews_discharge_does_not() -> None:
    idle = ("0:00 idle_hot",)
    burst = ev("burst", 5.0, 5.9, level_db=35.0)
    goes_on = say(burst, ev("hiss", 8.0, 14.0, level_db=8.0), did=idle)
    assert (codes(goes_on)[0], goes_on.level) == ("blast", "stop")
    assert say(burst, did=idle).level != "stop"
    assert say(burst, ev("hiss", 25.0, 34.0, level_db=8.0), did=idle).level != "stop"
    brewed = (*brew(), ev("hiss", 30.0, 34.0, level_db=8.0))
    assert "blast" not in codes(say(*brewed, did=BREW_DID))
    steam = say(burst, ev("hiss", 6.5, 14.0, level_db=8.0), did=("0:05 steam_open", "0:15 steam_closed"))
    assert "blast" not in codes(steam)


def test_a_very_loud_hiss_whose_beginning_is_not_known_stops_and_a_leak_does_not() -> None:
    loud = ev("hiss", 5.0, 14.0, level_db=45.0, rise_ms=1200.0, centroid_hz=3000.0)
    got = say(loud, did=("0:00 cool_down",), at=20.0)
    assert codes(got)[0] == "blast" and got.level == "stop"
    leak = ev("hiss", 5.0, 14.0, level_db=20.0, rise_ms=1200.0, centroid_hz=3000.0)
    assert say(leak, did=("0:00 cool_down",), at=20.0).level != "stop"
    # With the steam tap open it belongs.
    assert say(loud, did=("0:00 idle_hot", "0:04.9 steam"), at=20.0).level != "stop"


def test_a_hiss_that_is_hardly_sure_is_no_proof_that_the_boiler_is_dry() -> None:
    def tap(p: float, sound: str = "hiss") -> Judgement:
        hiss = ev(sound, 2.0, 14.0, p, level_db=34.0)
        return say(hiss, did=("0:00 idle_hot", "0:01.9 hot_water_open"), at=15.0)

    assert "probe_reads_full" in codes(tap(0.9)) and tap(0.9).level == "stop"
    # It says so, and asks; a jet that is sure proves it as well.
    assert codes(tap(0.6)) == ["probe_reads_full"] and (tap(0.6).level, tap(0.6).verdict) == (
        "watch",
        "cannot_tell",
    )
    assert tap(0.6).question == "Did water come from the hot-water tap, or only steam?"
    assert tap(0.9, "blast").level == "stop"
    # A fill excuses it if it is sure.
    did = ("0:00 idle_hot", "0:01.9 hot_water_open")
    for p, level in ((0.7, "stop"), (0.9, "fine")):
        strokes = ev("stroke_train", 7.0, 10.0, p)
        steam = ev("hiss", 2.0, 14.0, 0.9, level_db=34.0)
        assert say(steam, strokes, did=did, at=15.0, machine=replace(VIBRATORY, fill="probe")).level == level
    water = ev("water_flow", 2.0, 14.0)
    assert say(water, did=("0:00 idle_hot", "0:01.9 hot_water_open"), at=15.0).level == "fine"


def test_a_buzz_that_ends_in_a_discharge_was_a_valves_though_no_pump_is_made_out() -> None:
    machine = replace(VIBRATORY, coils="ac", group="solenoid")
    buzz, burst = ev("mains_buzz", 3.1, 28.0), ev("burst", 28.1, 29.0)
    got = say(click(3.0), buzz, burst, did=BREW_DID, machine=machine)
    assert codes(got)[0] == "solenoid_buzz" and got.verdict == "abnormal"
    assert say(click(3.0), buzz, did=BREW_DID, machine=machine).verdict == "cannot_tell"
    late = ev("burst", 34.0, 35.0)
    assert say(click(3.0), buzz, late, did=BREW_DID, machine=machine).verdict == "cannot_tell"


def test_a_motor_that_hums_before_a_discharge_was_not_stalled() -> None:
    hum = ev("mains_hum", 3.1, 28.0, line_hz=100.0)
    assert "stalled_motor" in codes(say(click(3.0), hum, did=BREW_DID))
    assert "stalled_motor" not in codes(say(click(3.0), hum, ev("burst", 28.1, 29.0), did=BREW_DID))
