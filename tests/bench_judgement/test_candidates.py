"""What else it could be: named where something points to it, accused of nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.bench import customer_message
from listen.types import Limit
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    LEVER,
    SHUT,
    SHUT_DID,
    SHUT_S,
    TELEPHONE,
    brew,
    click,
    codes,
    ev,
    say,
    without,
)

HUM = (click(3.0), ev("mains_hum", 3.1, 28.0), click(28.0))
DEEP_CUT = replace(GOOD, limits=(Limit("low_cut", "Nothing below 300 Hz came through.", ("motor_run",)),))
OVERDRIVEN = replace(
    GOOD,
    usable=False,
    limits=(Limit("clipped", "The recording is overdriven.", ("*",), retake="Step back."),),
)


def test_a_hum_without_a_turning_motor_is_named_though_the_clip_carries_no_motor() -> None:
    proven = say(*HUM, did=BREW_DID)
    assert (proven.verdict, codes(proven)[0], proven.findings[0].unproven) == (
        "abnormal",
        "stalled_motor",
        False,
    )
    open_ = say(*HUM, did=BREW_DID, quality=DEEP_CUT)
    first = open_.findings[0]
    assert (open_.verdict, open_.level, first.code) == ("cannot_tell", "watch", "stalled_motor")
    assert first.unproven and (first.level, first.strength, first.stop_kinds) == ("watch", "weak", ())
    assert any("does not carry the turning of a motor" in says for says in first.speaks_against)
    assert first.causes and first.checks


def test_what_contradicts_a_candidate_takes_it_away() -> None:
    """A discharge shows that there was pressure (common practice): no stalled pump."""
    got = say(*HUM, ev("burst", 28.1, 29.0), did=BREW_DID, quality=DEEP_CUT)
    assert got.verdict == "cannot_tell" and "stalled_motor" not in codes(got)


def test_a_motor_for_a_part_of_the_hum_settles_nothing() -> None:
    part = say(*HUM, ev("motor_run", 8.0, 11.0), did=BREW_DID)
    assert (
        part.verdict == "cannot_tell"
        and part.findings[0].code == "stalled_motor"
        and part.findings[0].unproven
    )
    assert "stalled_motor" not in codes(say(*HUM, ev("motor_run", 3.1, 26.0), did=BREW_DID))
    line = say(click(3.0), ev("mains_hum", 3.1, 26.0, shaft_hz=49.0), click(26.0), did=BREW_DID)
    assert line.verdict == "cannot_tell" and line.findings[0].unproven
    assert any("a line at 49.0 Hz" in says for says in line.findings[0].speaks_against)


def test_a_discharge_that_the_clip_may_hide_keeps_the_handle_locked_and_proves_nothing() -> None:
    """Nobody opens a handle on a guess; the verdict stays open all the same."""
    dry = without(brew(), 3, 4)
    hidden = replace(GOOD, limits=(Limit("masked", "Speech covers it.", ("burst",), 27.8, 28.6),))
    for quality in (hidden, TELEPHONE):
        got = say(*dry, did=BREW_DID, quality=quality)
        assert (got.verdict, got.level, codes(got)) == ("cannot_tell", "stop", ["no_burst"])
        assert got.findings[0].strength == "weak" and got.findings[0].stop_kinds == ("handle",)
        assert got.question and got.question.endswith("?")
    # One that is heard is no matter of doubt.
    assert say(*brew(), did=BREW_DID, quality=hidden).level != "stop"


@pytest.mark.parametrize(("pump_db", "level"), [(20.0, "stop"), (4.0, "watch")])
def test_a_pump_that_is_itself_nearly_drowned_warns_of_no_hidden_discharge(
    pump_db: float, level: str
) -> None:
    """In such noise every clip of a brew would warn, and a warning that always comes is no warning."""
    noise = replace(GOOD, limits=(Limit("steady_noise", "Loud noise.", ("burst", "click")),))
    brewed = [click(3.0), ev("motor_run", 3.1, 28.0, slip=0.04, level_db=pump_db), click(28.0)]
    got = say(*brewed, did=BREW_DID, quality=noise)
    assert (got.verdict, got.level) == ("cannot_tell", level)


def test_the_pump_that_runs_on_may_hide_the_discharge() -> None:
    got = say(click(3.0), ev("motor_run", 3.1, 36.0), did=BREW_DID)
    assert got.level != "stop" and "no_burst" not in codes(got)


def test_an_overdriven_clip_names_another_reading_of_a_sound_and_nothing_else() -> None:
    buzz = (click(3.0), ev("mains_buzz", 3.1, 28.0), click(28.0))
    got = say(*buzz, did=BREW_DID, quality=OVERDRIVEN)
    assert got.verdict == "cannot_tell" and codes(got) == ["solenoid_buzz", "stalled_motor"]
    assert [f.unproven for f in got.findings] == [False, True]
    assert not say(*HUM, did=BREW_DID, quality=OVERDRIVEN).findings


def test_a_settled_clip_names_no_candidate_and_a_customer_is_told_of_none() -> None:
    assert not any(f.unproven for f in say(*brew(), did=BREW_DID).findings)
    open_ = say(*HUM, did=BREW_DID, quality=DEEP_CUT)
    assert "does not seem to turn" not in customer_message(open_)


def test_an_answer_that_stops_stops_through_a_candidate_too() -> None:
    got = say(*HUM, did=BREW_DID, quality=DEEP_CUT, answers={"handle_stuck": "yes"})
    assert got.level == "stop" and got.findings[0].code == "danger_reported"
    assert any(f.unproven for f in got.findings)


def test_what_is_heard_goes_before_what_is_not_at_the_same_weight() -> None:
    """A stroke that was not heard is the weaker evidence: a buzz on a running pump comes first."""
    got = say(*SHUT, ev("mains_buzz", 3.0, 28.0), did=SHUT_DID, at=SHUT_S)
    assert codes(got) == ["solenoid_buzz", "missing_click_brew"]
    assert {(f.level, f.strength) for f in got.findings} == {("service", "fair")}


def test_a_lever_group_without_a_click_is_accused_of_no_valve() -> None:
    """Its pump starts by the lever's own switch, and its valves are moved by the lever (common practice)."""
    assert "missing_click_brew" not in codes(say(*SHUT, did=SHUT_DID, at=SHUT_S, machine=LEVER))
    dry = say(*without(brew(), 0, 3, 4), did=("0:03 lever_up", "0:28 lever_down"), machine=LEVER)
    assert (codes(dry)[0], dry.level) == ("no_burst", "stop")
