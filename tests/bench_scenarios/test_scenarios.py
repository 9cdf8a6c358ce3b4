"""The bench against scenarios written from the trade's side, without sight of its rules.

What a scenario wants is common practice unless its comment names a source; its
sounds and numbers are invented. A scenario that the bench's owner thinks wrong
gets a word in its `disputed` field and is still judged.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

import pytest

from listen.bench import Judgement, judge
from listen.types import LEVELS, STOP_KINDS, VERDICTS, Finding
from listen.vocabulary import ACTIONS, STATES

from .scenario import Scenario, load_all

SCENARIOS = {scenario.id: scenario for scenario in load_all()}
NEEDS = ("look", "controls", "covers_off_unplugged", "qualified_live")

#: The whole water path; each word must be covered by a scenario.
PARTS = frozenset({
    "supply_line", "reservoir", "float_switch", "change_over", "inline_filter", "pump_rotary",
    "pump_vibratory", "pump_gear", "motor", "bypass", "mounts", "check_valve", "brew_boiler",
    "over_pressure_valve", "expansion_valve", "fill_solenoid", "steam_boiler", "safety_valve",
    "high_limit", "fill_probe", "vacuum_valve", "boards", "relay", "solid_state_relay", "pressurestat",
    "temperature_controller", "thermosiphon", "heat_exchanger", "lever_group", "cam", "microswitch",
    "group_solenoid", "drain_valve", "flow_meter", "steam_valve", "hot_water_valve", "wand", "gauge",
    "sight_glass", "drip_tray", "drain", "water_treatment", "scale", "element",
})  # fmt: skip

_FORBIDS = re.compile(r"\b(not|never|no|nobody|don't|nothing|without|leave|instead of)\b", re.I)
_SAFETY_PART = re.compile(r"safety valve|high limit|interlock|expansion valve|safety part", re.I)
_DEFEAT = re.compile(
    r"\b(adjust|block|plug up|bridge|bypass|defeat|tighten|turn up|tap on|screw down)\b", re.I
)
_LIVE_PULL = re.compile(r"\b(pull|unplug|remove|disconnect)\w*\b.*\b(coil|connector)\b", re.I)


@cache
def judged(scenario_id: str) -> Judgement:
    scenario = SCENARIOS[scenario_id]
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


def instructions(said: Judgement) -> Iterator[str]:
    """Yield every sentence that tells a person to do something."""
    texts = [said.say_first, said.retake, said.question]
    for finding in said.findings:
        for check in finding.checks:
            texts += [check.text, check.if_yes, check.if_no, *check.cautions]
    for text in texts:
        yield from re.split(r"(?<=[.;:!?])\s+", text or "")


def about(finding: Finding) -> str:
    """Return what a finding is about: its code, symptom, parts and two first causes."""
    causes = sorted(finding.causes, key=lambda cause: cause.order)[:2]
    words = [finding.code, finding.symptom, *finding.parts, *(cause.text for cause in causes)]
    return " | ".join(words).replace("_", " ")


def hits(patterns: tuple[str, ...], text: str | None) -> bool:
    return any(re.search(pattern, text or "", re.I) for pattern in patterns)


def told(said: Judgement) -> str:
    """Return a short account for the message of a failing scenario."""
    lines = [f"    got level {said.level}, verdict {said.verdict}: {said.because}"]
    lines += [f"    first {said.say_first}", f"    asks {said.question} / {said.retake}"]
    for finding in said.findings[:4]:
        first = finding.checks[0].text if finding.checks else None
        lines.append(f"    {finding.level} {finding.strength} {about(finding)} -> {first}")
    return "\n".join(lines)


def misses(scenario: Scenario, said: Judgement) -> list[str]:
    """Return in words what the judgement lacks of what the scenario wants."""
    want, found = scenario.want, []
    if said.level not in want.level:
        found.append(f"level {said.level}, wanted {' or '.join(want.level)}")
    if want.verdict and said.verdict not in want.verdict:
        found.append(f"verdict {said.verdict}, wanted {' or '.join(want.verdict)}")
    subjects = [about(finding) for finding in said.findings[: want.within]]
    if scenario.kind == "intake":  # the first answer to a bare text may well be the one question
        subjects += [said.question or "", said.say_first or ""]
    if want.about and not any(hits(want.about, subject) for subject in subjects):
        found.append(f"no finding about {want.about} among the first {want.within}")
    found += [
        f"a finding about {finding.code}, which this is not"
        for finding in said.findings
        if finding.level != "fine" and hits(want.not_about, about(finding))
    ]
    leading = said.findings[0].checks[:1] if said.findings else ()
    first_check = leading[0].text if leading else said.question
    if want.check and not hits(want.check, first_check):
        found.append(f"first check touches none of {want.check}")
    kinds = {kind for finding in said.findings for kind in finding.stop_kinds}
    if set(want.kinds) - kinds:
        found.append(f"kinds of stop not said: {sorted(set(want.kinds) - kinds)}")
    found += [f"not said first: {text}" for text in want.says if not hits((text,), said.say_first)]
    if want.asks and not (hits(want.asks, said.question) or hits(want.asks, said.retake)):
        found.append(f"asks nothing of {want.asks}")
    found += [
        f"instructs: {sentence}"
        for sentence in instructions(said)
        if hits(want.never, sentence) and not _FORBIDS.search(sentence)
    ]
    return found


@pytest.mark.parametrize("scenario_id", SCENARIOS)
def test_a_technician_would_agree(scenario_id: str) -> None:
    scenario, said = SCENARIOS[scenario_id], judged(scenario_id)
    lacking = misses(scenario, said)
    assert not lacking, f"{scenario.title}\n    why: {scenario.why}\n  " + "\n  ".join([*lacking, told(said)])


@pytest.mark.parametrize("scenario_id", [name for name, each in SCENARIOS.items() if each.twin])
def test_one_flipped_fact_changes_the_answer(scenario_id: str) -> None:
    one, other = judged(scenario_id), judged(SCENARIOS[scenario_id].twin)
    answers = [(said.level, said.verdict, [each.code for each in said.findings[:1]]) for said in (one, other)]
    assert answers[0] != answers[1]


@pytest.mark.parametrize("scenario_id", SCENARIOS)
def test_no_scenario_is_answered_with_a_danger(scenario_id: str) -> None:
    said = judged(scenario_id)
    assert said.level in LEVELS and said.verdict in VERDICTS
    for text in (said.because, *instructions(said), *(about(finding) for finding in said.findings)):
        assert not re.search(r"\bsafe\b", text, re.I), text
    for sentence in instructions(said):
        if _SAFETY_PART.search(sentence) and _DEFEAT.search(sentence):
            assert _FORBIDS.search(sentence), sentence
    for finding in said.findings:
        ranks = [NEEDS.index(check.needs) for check in finding.checks]
        assert ranks == sorted(ranks), f"{finding.code}: covers come off before what needs no tool"
        for check in finding.checks:
            if check.needs in ("look", "controls") and _LIVE_PULL.search(check.text):
                assert _FORBIDS.search(check.text), check.text
            assert not (check.who == "customer" and check.needs not in ("look", "controls")), check.text


@pytest.mark.parametrize("scenario_id", SCENARIOS)
def test_a_stop_is_said_first_and_asks_for_no_clip(scenario_id: str) -> None:
    said = judged(scenario_id)
    stops = [finding for finding in said.findings if finding.level == "stop"]
    if said.level != "stop":
        assert not stops
        return
    assert said.say_first and said.retake is None
    assert stops and said.findings[0].level == "stop", "a stop leads the findings"
    for finding in stops:
        kinds = finding.stop_kinds
        if kinds[:2] == ("water", "power"):  # water that runs with the power off: the tap comes first
            kinds = kinds[1:]
        places = [STOP_KINDS.index(kind) for kind in kinds]
        assert places and places == sorted(places), finding.code


def test_the_set_covers_the_trade() -> None:
    cases = [each for each in SCENARIOS.values() if each.kind != "intake"]
    assert len(cases) >= 60
    assert sum(each.kind == "normal" for each in cases) * 3 >= len(cases)
    assert {word for each in cases for word in each.covers} >= PARTS
    words = {mark.word for each in cases for mark in each.marks}
    assert words >= set(STATES) - {"brew_start", "brew_end"}, set(STATES) - words
    assert words >= set(ACTIONS), set(ACTIONS) - words
    assert {each.twin for each in cases if each.twin} <= set(SCENARIOS)


def test_no_id_is_written_twice() -> None:
    ids = [scenario.id for scenario in load_all()]
    assert len(ids) == len(set(ids))
