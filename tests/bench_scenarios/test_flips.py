"""Every scenario again with one thing added, taken away or moved: what may not follow from that."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from listen.bench import Judgement, judge
from listen.types import LEVELS, Limit, SoundEvent

from .scenario import Scenario, load_all

SCENARIOS = {scenario.id: scenario for scenario in load_all()}
SHIFT_S = 4.0
STOP_ANSWERS = ("steam_out", "gauge_red", "smoke_smell", "trip_tingle", "water_floor", "handle_stuck")


def scenarios_where(fits: Callable[[Scenario], bool]) -> pytest.MarkDecorator:
    chosen = [scenario for scenario in SCENARIOS.values() if fits(scenario)]
    assert len(chosen) >= 20
    return pytest.mark.parametrize("scenario", chosen, ids=[each.id for each in chosen])


def could_carry_a_roar(scenario: Scenario) -> bool:
    return scenario.quality.usable and all(limit.start_s is not None for limit in scenario.quality.limits)


def boiler_gauge_in_band(scenario: Scenario) -> bool:
    _, highest = scenario.machine.boiler_band_bar or (0.0, 1.3)
    return 0.0 <= scenario.gauges.get("boiler", -1.0) <= highest


def begins_before_all(scenario: Scenario) -> bool:
    return not any(event.open_start for event in scenario.events) and all(
        mark.at_s > 0 for mark in scenario.marks
    )


all_scenarios = scenarios_where(lambda scenario: True)


def judged(scenario: Scenario) -> Judgement:
    return judge(
        events=scenario.events,
        quality=scenario.quality,
        mains=scenario.mains,
        duration_s=scenario.duration_s,
        machine=scenario.machine,
        marks=scenario.marks,
        gauges=scenario.gauges,
        said=scenario.said,
        answers=scenario.answers,
    )


def rank(judgement: Judgement) -> int:
    return LEVELS.index(judgement.level)


@all_scenarios
def test_a_yes_of_the_first_minute_stops_whatever_is_heard(scenario: Scenario) -> None:
    for question in STOP_ANSWERS:
        said = judged(replace(scenario, answers={**scenario.answers, question: "yes"}))
        assert said.level == "stop" and said.say_first and said.retake is None, question


@all_scenarios
def test_a_gauge_far_over_stops_whatever_is_heard(scenario: Scenario) -> None:
    said = judged(replace(scenario, gauges={**scenario.gauges, "boiler": 2.6}))
    assert said.level == "stop" and said.say_first and said.retake is None


@scenarios_where(could_carry_a_roar)
def test_a_roar_with_all_taps_shut_stops_whatever_is_told(scenario: Scenario) -> None:
    end_s = scenario.duration_s + 20.0
    roar = SoundEvent(
        "roar",
        "blast",
        scenario.duration_s + 1.0,
        end_s - 1.0,
        0.95,
        {
            "level_db": 33.0, "centroid_hz": 3600.0, "low_hz": 500.0, "high_hz": 16000.0,
            "rise_ms": 20.0, "fall_ms": 400.0, "growth_db_per_min": 0.0,
        },
    )  # fmt: skip
    marks = tuple(mark for mark in scenario.marks if mark.word not in ("steam", "hot_water"))
    opened = [mark.word for mark in marks if mark.word in ("steam_open", "hot_water_open")]
    closed = [mark.word for mark in marks if mark.word in ("steam_closed", "hot_water_closed")]
    assert len(opened) == len(closed), "every scenario shuts the taps that it opens"
    said = judged(replace(scenario, events=(*scenario.events, roar), duration_s=end_s, marks=marks))
    assert said.level == "stop" and {"stand_clear", "power"} <= {
        kind for finding in said.findings for kind in finding.stop_kinds
    }


@all_scenarios
def test_fine_now_lowers_nothing(scenario: Scenario) -> None:
    later = replace(scenario, said=f"{scenario.said} But it is fine now, all back to normal.".strip())
    assert rank(judged(later)) >= rank(judged(scenario))


@scenarios_where(boiler_gauge_in_band)
def test_an_unknown_boiler_gauge_lowers_nothing(scenario: Scenario) -> None:
    unread = {name: bar for name, bar in scenario.gauges.items() if name != "boiler"}
    assert rank(judged(replace(scenario, gauges=unread))) >= rank(judged(scenario))


@all_scenarios
def test_a_useless_clip_takes_no_stop_of_the_story_away_and_adds_none(scenario: Scenario) -> None:
    silent = replace(scenario, events=())
    limit = Limit("silent", "Nothing came through.", ("*",), retake="Hold the phone nearer.")
    useless = replace(silent, quality=replace(scenario.quality, usable=False, limits=(limit,)))
    said = judged(useless)
    assert said.verdict == "cannot_tell"
    assert (said.level == "stop") == (judged(silent).level == "stop")
    assert said.level != "stop" or said.retake is None


@scenarios_where(begins_before_all)
def test_later_by_some_seconds_is_the_same_answer(scenario: Scenario) -> None:
    moved = replace(
        scenario,
        duration_s=scenario.duration_s + SHIFT_S,
        events=tuple(
            replace(event, onset_s=event.onset_s + SHIFT_S, offset_s=event.offset_s + SHIFT_S)
            for event in scenario.events
        ),
        marks=tuple(replace(mark, at_s=mark.at_s + SHIFT_S) for mark in scenario.marks),
        quality=replace(
            scenario.quality,
            limits=tuple(
                limit
                if limit.start_s is None or limit.end_s is None
                else replace(limit, start_s=limit.start_s + SHIFT_S, end_s=limit.end_s + SHIFT_S)
                for limit in scenario.quality.limits
            ),
        ),
    )
    one, other = judged(scenario), judged(moved)
    assert (one.level, one.verdict) == (other.level, other.verdict)
    assert [each.code for each in one.findings] == [each.code for each in other.findings]


@all_scenarios
def test_the_same_twice_is_the_same(scenario: Scenario) -> None:
    assert judged(scenario) == judged(scenario)
