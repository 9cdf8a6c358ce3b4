"""Answers: causes are ranked anew, a stop stands at once, and nothing is ever lowered."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.bench import Judgement, answer, first_minute_questions, load_knowledge, next_check, parse_answer
from listen.bench.entries import NEEDS
from listen.errors import BadParameter
from listen.types import LEVELS
from tests.bench_judgement.cases import CASES, Case
from tests.bench_judgement.scenes import BREW_DID, ROTARY, brew, ev, say, without

FIXED = settings(derandomize=True, database=None, deadline=None)
ENTRIES = {e.check.id: e for _, e in load_knowledge().entries()}
ANSWERS = st.dictionaries(
    st.sampled_from(sorted(ENTRIES)), st.sampled_from(["yes", "no", "unknown"]), max_size=4
)


SOUNDS = [*brew(), ev("gravel", 6.0, 25.0)]


def gravel(**more: object) -> Judgement:
    return say(*SOUNDS, did=BREW_DID, **more)


def test_an_answer_ranks_the_causes_anew_and_says_why_not() -> None:
    before = gravel().findings[0]
    assert before.causes[0].id == "inlet_restricted"
    after = answer(gravel(), {"line_holds": "no"}).findings[0]
    assert after.causes[0].id == "line_low" and after.parts[0] == after.causes[0].part
    assert after.causes[0].speaks_for == ("answered no: " + ENTRIES["line_holds"].check.text,)
    restricted = next(c for c in after.causes if c.id == "inlet_restricted")
    assert "answered no" in restricted.speaks_against[0]
    aside = [
        c
        for c in answer(gravel(), {"line_holds": "no", "cartridge_changed": "no"}).findings[0].causes
        if c.why_not
    ]
    assert aside and all(c.standing == "unlikely" and "answered" in c.why_not for c in aside)
    assert [a.id for a in after.answered] == ["line_holds"]
    assert "line_holds" not in [c.id for c in after.checks]
    assert after.answered[0].means == ENTRIES["line_holds"].check.if_no


def test_unknown_moves_no_cause_but_is_kept() -> None:
    after = answer(gravel(), {"line_holds": "unknown"}).findings[0]
    assert [c.id for c in after.causes] == [c.id for c in gravel().findings[0].causes]
    assert after.answered[0].answer == "unknown"


def test_one_by_one_is_the_same_as_together_and_as_judged() -> None:
    both = {"line_holds": "no", "inlet_open": "yes"}
    stepwise = answer(answer(gravel(), {"line_holds": "no"}), {"inlet_open": "yes"})
    assert stepwise.findings == answer(gravel(), both).findings
    judged = gravel(answers=both)
    assert judged.findings == stepwise.findings


def test_a_corrected_answer_replaces_the_old_but_its_stop_stays() -> None:
    hiss = say(ev("hiss", 5.0, 35.0), did=("0:00 idle_hot",))
    stopped = answer(hiss, {"hiss_gauge_red": "yes"})
    assert stopped.level == "stop" and stopped.findings[0].stop_kinds == ("stand_clear", "power")
    assert stopped.say_first and "Stand clear" in stopped.say_first and stopped.retake is None
    corrected = answer(stopped, {"hiss_gauge_red": "no"})
    assert corrected.level == "stop"
    assert [a.answer for a in corrected.findings[0].answered] == ["no"]


def test_an_answer_that_stops_stops_a_silent_clip_too() -> None:
    for check_id, entry in ENTRIES.items():
        for word, kinds in (("yes", entry.check.yes_stops), ("no", entry.check.no_stops)):
            if kinds:
                got = say(answers={check_id: word})
                assert got.level == "stop" and set(kinds) <= set(got.findings[0].stop_kinds), check_id
                assert got.say_first and got.retake is None


def test_a_first_minute_yes_may_come_as_an_answer() -> None:
    for question in first_minute_questions():
        got = answer(gravel(), {question.id: "yes"})
        assert got.level == "stop" and got.findings[0].code == "danger_reported"
        assert answer(got, {question.id: "no"}).level == "stop"
        assert len(answer(got, {question.id: "yes"}).findings) == len(got.findings)


@settings(FIXED, max_examples=150)
@given(st.sampled_from(CASES), ANSWERS)
def test_no_answer_lowers_a_level_or_loses_a_finding(case: Case, answers: dict[str, str]) -> None:
    before = case.judge()
    after = answer(before, answers)
    assert LEVELS.index(after.level) >= LEVELS.index(before.level)
    assert {f.code for f in before.findings} <= {f.code for f in after.findings}
    strength = {f.code: f.strength for f in after.findings}
    assert all(strength[f.code] == f.strength for f in before.findings if f.code != "danger_reported")
    for finding in after.findings:
        rungs = [NEEDS.index(c.needs) for c in finding.checks]
        assert rungs == sorted(rungs)
        if finding.level == "stop":
            assert not any(ENTRIES[c.id].runs_machine for c in finding.checks)
    assert answer(after, answers) == after


@settings(FIXED, max_examples=80)
@given(st.sampled_from(CASES), ANSWERS, st.sampled_from(sorted(ENTRIES)), st.sampled_from(["yes", "no"]))
def test_one_more_answer_never_lowers_a_level(
    case: Case, answers: dict[str, str], one: str, word: str
) -> None:
    fewer = case.judge(answers=answers)
    more = case.judge(answers={one: word, **answers})
    assert LEVELS.index(more.level) >= LEVELS.index(fewer.level)


def test_the_check_that_can_stop_comes_first_on_its_rung() -> None:
    for case in CASES:
        for finding in case.judge().findings:
            looks = [ENTRIES[c.id] for c in finding.checks if c.needs == "look"]
            can = [e.can_stop for e in looks]
            assert can == sorted(can, reverse=True), finding.code


def test_what_is_asked_next_depends_on_what_is_known() -> None:
    hard = say(*brew(), ev("gravel", 6.0, 25.0), did=BREW_DID, said="I changed the cartridge yesterday")
    assert hard.findings[0].causes[0].id == "inlet_restricted"
    low = say(*brew(), ev("gravel", 6.0, 25.0), did=BREW_DID, gauges={"line": 0.8})
    assert low.findings[0].causes[0].id == "line_low"
    assert any("line gauge at 0.8 bar" in s for s in low.findings[0].causes[0].speaks_for)


def test_next_check_is_of_the_most_urgent_finding() -> None:
    got = say(*without(brew(), 3, 4), ev("gravel", 6.0, 25.0), did=BREW_DID, machine=ROTARY)
    check = next_check(got)
    assert check is not None and check in got.findings[0].checks and got.findings[0].level == "stop"
    assert next_check(say(*brew(), did=BREW_DID)) is None


@pytest.mark.parametrize("text", ["tray", "tray_wet", "=yes", "tray_wet=perhaps", "tray_wet="])
def test_an_answer_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(BadParameter, match="yes, no or unknown"):
        parse_answer(text)


def test_answers_are_read_kindly_and_unknown_checks_refused() -> None:
    assert parse_answer(" Line-Holds = Y") == ("line_holds", "yes")
    with pytest.raises(BadParameter, match="each check of a result carries its own name"):
        say(answers={"no_such_check": "yes"})
    with pytest.raises(BadParameter, match="must be yes, no or unknown"):
        answer(gravel(), {"line_holds": "maybe"})
