"""Rules of safety and honesty that hold over every family."""

from __future__ import annotations

import random
import time
from dataclasses import replace

import pytest

from listen.bench import first_minute_questions, load_knowledge
from listen.bench.entries import NEEDS
from listen.types import LEVELS, Limit, StorySpan
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    LEVER,
    MANUAL,
    ROTARY,
    SHUT,
    SHUT_DID,
    SHUT_S,
    UNKNOWN,
    UNUSABLE,
    VIBRATORY,
    brew,
    click,
    codes,
    ev,
    say,
    without,
)


def rank(level: str) -> int:
    return LEVELS.index(level)


@pytest.mark.parametrize("sound", ["hiss", "blast", "boil"])
def test_a_drafted_state_clears_nothing(sound: str) -> None:
    drafted = say(*brew(), ev(sound, 5.0, 26.0))
    assert any(s.source == "drafted" for s in drafted.story)
    assert drafted.verdict == "cannot_tell" and rank(drafted.level) >= rank("watch")
    vent = say(ev("hiss", 5.0, 60.0, growth_db_per_min=6.0, fall_ms=60.0), at=70.0, gauges={"boiler": 0.0})
    assert [s.state for s in vent.story] == ["vent_closing"]
    assert vent.verdict == "cannot_tell" and vent.level == "watch"
    switched = say(ev("hiss", 5.0, 30.0), did=("0:00 switched_on",), gauges={"boiler": 0.0})
    assert switched.story[0].source == "drafted" and switched.verdict == "cannot_tell"


def test_drafted_spans_say_what_they_rest_on() -> None:
    drafted = say(*brew()).story
    assert {s.state for s in drafted} == {"brew_start", "brew", "brew_end"}
    assert all(isinstance(s, StorySpan) and s.source == "drafted" and "0:03" in s.rests_on for s in drafted)


@pytest.mark.parametrize("state", ["idle_hot", "warm_up", "vent_closing", "steam", "brew"])
@pytest.mark.parametrize("sound", ["hiss", "blast", "boil"])
def test_a_gauge_not_read_lowers_nothing(state: str, sound: str) -> None:
    did = (f"0:00 {state}",)
    unread = say(ev(sound, 5.0, 25.0), click(2.0), did=did, machine=LEVER)
    read_low = say(ev(sound, 5.0, 25.0), click(2.0), did=did, machine=LEVER, gauges={"boiler": 0.0})
    assert rank(unread.level) >= rank(read_low.level)
    if state == "idle_hot":
        normal = say(ev(sound, 5.0, 25.0), click(2.0), did=did, machine=LEVER, gauges={"boiler": 1.1})
        assert rank(unread.level) >= rank(normal.level)


@pytest.mark.parametrize("words", ["it is fine now", "all good again, it is fine now", "stopped by itself"])
def test_fine_now_clears_nothing(words: str) -> None:
    smoke = say(*brew(), did=BREW_DID, said=f"There was smoke. {words}")
    assert smoke.level == "stop"
    hiss = say(ev("hiss", 5.0, 20.0), click(2.0), did=("0:00 idle_hot",), gauges={"boiler": 1.1}, said=words)
    assert hiss.level == "service"
    blast = say(ev("blast", 5.0, 9.0), machine=UNKNOWN, said=words)
    assert blast.level == "stop"


def test_answers_no_and_unknown_clear_nothing() -> None:
    answers = {q.id: "no" for q in first_minute_questions()}
    blast = say(ev("blast", 5.0, 9.0), machine=UNKNOWN, answers=answers)
    assert blast.level == "stop"
    red = say(machine=LEVER, gauges={"boiler": 1.8}, answers={"gauge_red": "no"})
    assert red.level == "stop"
    told = say(said="there is smoke", answers={"smoke_smell": "no"})
    assert told.level == "stop"
    unknown = say(*brew(), did=BREW_DID, answers={q.id: "unknown" for q in first_minute_questions()})
    assert unknown.level == "fine"


@pytest.mark.parametrize("question", [q.id for q in first_minute_questions()])
def test_every_first_minute_yes_stops_whatever_the_clip_carries(question: str) -> None:
    for events, quality in ((brew(), GOOD), ([], UNUSABLE)):
        got = say(*events, quality=quality, did=BREW_DID, answers={question: "yes"})
        assert got.level == "stop" and got.findings[0].code == "danger_reported"
        assert got.retake is None and got.say_first
        asked = next(q for q in first_minute_questions() if q.id == question)
        assert asked.do[-1] in got.say_first and asked.stop_kinds


def test_the_six_first_minute_questions() -> None:
    ids = [q.id for q in first_minute_questions()]
    assert ids == ["steam_out", "gauge_red", "smoke_smell", "trip_tingle", "water_floor", "handle_stuck"]
    assert all(q.text.endswith("?") and q.do for q in first_minute_questions())


def test_known_danger_speaks_although_the_clip_is_unusable() -> None:
    got = say(quality=UNUSABLE, machine=LEVER, gauges={"boiler": 1.9})
    assert (got.verdict, got.level) == ("cannot_tell", "stop") and got.say_first
    quiet = say(quality=UNUSABLE, machine=LEVER)
    assert (quiet.verdict, quiet.level) == (
        "cannot_tell",
        "watch",
    ) and quiet.retake == "Record again, nearer."
    loud = say(ev("blast", 1.0, 5.0), quality=UNUSABLE, did=("0:00 idle_hot",))
    assert (loud.verdict, loud.level) == ("cannot_tell", "stop")


def test_verdict_and_level_are_independent() -> None:
    got = say(*brew(), did=BREW_DID, machine=LEVER, gauges={"boiler": 1.8})
    assert (got.verdict, got.level) == ("normal", "stop")


def test_a_stop_asks_for_no_clip_and_runs_nothing() -> None:
    limited = replace(
        GOOD, limits=(Limit("clipped", "Clipped.", ("*",), retake="Record from further away."),)
    )
    knowledge = load_knowledge()
    running = {c.check.text for f in knowledge.faults for c in f.checks if c.runs_machine}
    assert running
    for got in (
        say(ev("blast", 1.0, 5.0), quality=limited),
        say(*without(brew(), 0, 3, 4), did=BREW_DID),
        say(*without(brew(), 3, 4), did=BREW_DID),
        say(quality=limited, said="sparks"),
    ):
        assert got.level == "stop" and got.retake is None
        for finding in got.findings:
            if finding.level == "stop":
                assert not running & {c.text for c in finding.checks} and finding.checks


def test_absence_needs_a_clip_that_could_have_carried_it() -> None:
    events = without(brew(), 0)
    masked = say(*events, ev("grinder", 1.0, 9.0), did=BREW_DID)
    assert masked.verdict == "cannot_tell" and "missing_click_brew" not in codes(masked)
    assert [e.status for e in masked.expected if e.sound == "click"] == ["cannot_tell"]
    limited = replace(
        GOOD, limits=(Limit("masked", "Music.", ("click",), 0.0, 10.0, "Record without the music."),)
    )
    blocked = say(*events, did=BREW_DID, quality=limited)
    assert blocked.verdict == "cannot_tell" and blocked.retake == "Record without the music."


def test_an_empty_clip_proves_no_absence() -> None:
    got = say(did=BREW_DID)
    assert got.verdict == "cannot_tell" and not [e for e in got.expected if e.status == "missing"]


def test_silence_of_the_pump_with_a_working_microphone_is_reported() -> None:
    got = say(click(3.0), click(28.0), did=BREW_DID)
    assert got.verdict == "cannot_tell" and "motor run" in got.because
    assert [e.status for e in got.expected if e.sound == "motor_run"] == ["missing"]


def test_the_most_useful_retake_is_the_one_that_unblocks_most() -> None:
    limited = replace(
        GOOD,
        limits=(
            Limit("a", "A.", ("beep",), retake="useless"),
            Limit("b", "B.", ("click",), retake="helps a little"),
            Limit("c", "C.", ("click", "burst"), retake="helps most"),
        ),
    )
    assert say(*SHUT, did=BREW_DID, quality=limited, at=SHUT_S).retake == "helps most"
    assert say(*brew(), did=BREW_DID).retake is None


def test_stop_is_said_first_and_in_order() -> None:
    got = say(*without(brew(), 3, 4), did=BREW_DID, said="there is water on the floor")
    assert got.level == "stop" and got.say_first
    at = [
        got.say_first.index(w)
        for w in ("Stand clear", "Switch off at the plug", "inlet tap", "handle locked")
    ]
    assert at == sorted(at)
    levels = [rank(f.level) for f in got.findings]
    assert levels == sorted(levels, reverse=True)


def test_water_that_runs_with_the_power_off_puts_the_tap_first() -> None:
    got = say(said="water keeps running although it is unplugged")
    assert got.say_first and got.say_first.index("inlet tap") < got.say_first.index("Switch off at the plug")


def test_three_phase_is_switched_off_at_the_isolator() -> None:
    got = say(machine=replace(LEVER, phases=3), said="smoke")
    assert got.say_first and "isolator" in got.say_first and "plug if you" not in got.say_first


def test_checks_go_from_untouched_to_live_and_name_who() -> None:
    knowledge = load_knowledge()
    got = [
        say(*SHUT, did=SHUT_DID, at=SHUT_S),
        say(ev("click_train", 5.0, 9.0), machine=UNKNOWN),
        say(said="smoke", gauges={"boiler": 2.0}),
    ]
    for finding in (f for j in got for f in j.findings):
        order = [NEEDS.index(c.needs) for c in finding.checks]
        assert order == sorted(order) and finding.checks
    for fault in knowledge.faults:
        for entry in fault.checks:
            assert entry.check.who in ("customer", "technician")
            assert entry.check.if_yes and entry.check.if_no
            if entry.check.needs in ("covers_off_unplugged", "qualified_live"):
                assert entry.check.who == "technician"


def test_a_customers_list_is_shorter_than_a_technicians() -> None:
    for fault in load_knowledge().faults:
        customer = [c for c in fault.checks if c.check.who == "customer"]
        assert len(customer) <= len(fault.checks)
        if fault.code not in ("unexplained_sound", "open_run"):
            assert len(customer) < len(fault.checks), fault.code


def test_without_a_story_there_is_one_question() -> None:
    for events in ([], [ev("hiss", 3.0, 20.0)], [ev("mains_hum", 3.0, 20.0)], [ev("gravel", 3.0, 20.0)]):
        got = say(*events, machine=UNKNOWN)
        assert (got.question and got.question.endswith("?")) or "switch off" in (got.question or "")
    assert say(*brew(), did=BREW_DID).question is None


def test_without_a_story_the_states_that_decide_are_asked_between() -> None:
    untold = say(*without(brew(), 0))
    assert untold.verdict == "cannot_tell" and untold.question
    told = [say(*without(brew(), 3, 4), did=(f"0:00 {s}",)) for s in ("brew", "steam")]
    assert codes(told[0]) != codes(told[1])
    assert "brewing" in untold.question or untold.findings
    rattle = say(click(2.0), ev("drip", 3.0, 20.0), ev("water_flow", 5.0, 30.0), machine=UNKNOWN)
    assert rattle.question and "off at the wall" in rattle.question and "something else" in rattle.question
    silent = say(machine=UNKNOWN)
    assert silent.question == load_knowledge().settings.default_question


def test_low_probability_counts_for_nothing() -> None:
    got = say(*brew(), ev("gravel", 5.0, 20.0, p=0.49), ev("hiss", 30.0, 39.0, p=0.4), did=BREW_DID)
    assert got.verdict == "normal"


def test_vibratory_hum_is_no_stalled_motor() -> None:
    got = say(click(3.0), ev("mains_hum", 3.1, 20.0), did=("0:03 brew_on",), machine=VIBRATORY)
    assert "stalled_motor" not in codes(got)


def test_judging_twice_gives_the_same() -> None:
    events = [*brew(), ev("hiss", 5.0, 35.0)]
    one = say(*events, did=BREW_DID, machine=ROTARY, said="no pressure", gauges={"line": 3.0})
    two = say(*reversed(events), did=BREW_DID, machine=ROTARY, said="no pressure", gauges={"line": 3.0})
    assert one == two


def test_a_night_of_events_is_judged_in_seconds() -> None:
    rng = random.Random(5)
    sounds = ("click", "boil", "motor_run", "hiss", "drip", "mains_hum", "click_train", "burst", "fan")
    events = []
    for _ in range(2000):
        onset = rng.uniform(0.0, 28800.0)
        events.append(ev(rng.choice(sounds), onset, onset + rng.uniform(0.05, 6.0)))
    began = time.perf_counter()
    say(*events, did=("0:00 idle_hot",), at=28800.0)
    assert time.perf_counter() - began < 5.0


def test_a_check_that_can_stop_runs_nothing_and_opens_nothing() -> None:
    for owner, entry in load_knowledge().entries():
        if entry.can_stop:
            assert not entry.runs_machine and entry.check.needs in ("look", "controls"), owner.symptom
            means = [entry.check.if_yes] * bool(entry.check.yes_stops)
            means += [entry.check.if_no] * bool(entry.check.no_stops)
            for text in means:
                assert "off" in text.lower() or "close the inlet tap" in text.lower(), text


def test_a_customer_touches_nothing_that_is_open_or_live() -> None:
    for _, entry in load_knowledge().entries():
        if entry.check.who == "customer":
            assert entry.check.needs == "look" and "unplugged:" not in entry.check.text.lower()


@pytest.mark.parametrize(("begins_s", "level"), [(28.0, "stop"), (30.5, "stop"), (34.0, "fine")])
def test_a_discharge_covers_the_flow_that_goes_on_beneath_it(begins_s: float, level: str) -> None:
    # Somebody who rinses at the sink begins later.
    said = say(*brew(end=28.0)[:4], ev("water_flow", begins_s, 52.0), did=BREW_DID, at=54.0)
    levels = {f.code: f.level for f in said.findings}
    assert levels.get("flow_runs_on", "fine") == level


@pytest.mark.parametrize(("pump_db", "verdict"), [(20.0, "abnormal"), (4.0, "cannot_tell")])
def test_a_click_is_not_missed_where_the_pump_itself_is_nearly_drowned(pump_db: float, verdict: str) -> None:
    shut_off = ev("motor_run", 3.1, 28.5, slip=0.04, level_db=pump_db)
    assert say(shut_off, did=SHUT_DID, at=SHUT_S).verdict == verdict
    # Where it stands highest counts, if that was measured.
    shut_off = ev("motor_run", 3.1, 28.5, slip=0.04, level_db=4.0, stands_db=pump_db)
    assert say(shut_off, did=SHUT_DID, at=SHUT_S).verdict == verdict


def test_a_lever_that_presses_by_hand_is_lowered_to_begin_and_one_with_a_pump_to_end() -> None:
    """Common practice: a hand lever is pulled down and rises as it brews; a pump's lever is up while it brews."""
    flow = ev("water_flow", 2.7, 19.8)
    pulled = say(click(1.7), flow, did=("0:02 lever_down", "0:19 lever_up"), machine=MANUAL, at=23.0)
    assert "flow_runs_on" not in codes(pulled) and pulled.level != "stop"
    runs_on = say(click(1.7), flow, did=("0:00 lever_up", "0:02 lever_down"), machine=LEVER, at=23.0)
    assert "flow_runs_on" in codes(runs_on) and runs_on.level == "stop"
    stopped = say(flow, did=("0:00 lever_down", "0:02 brew_off"), machine=MANUAL, at=23.0)
    assert "flow_runs_on" in codes(stopped)
