"""Work answers into a result: causes are ranked anew, the next check moves up, a stop stands at once.

No answer lowers a level, weakens a finding or removes one. An answer that calls
for a stop makes one even where its finding was not raised by the clip.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeVar

from listen.bench.entries import DANGER_CODE, CheckEntry, Danger, Fault, Knowledge
from listen.bench.judgement import Judgement
from listen.bench.knowledge import load_knowledge
from listen.bench.ladder import first_that_decides, lay_out, order_findings, worst
from listen.bench.machine import Machine
from listen.bench.safety import check_ids_known, danger_findings, say_first
from listen.bench.weights import from_causes, with_answer
from listen.types import Check, Finding, Report

Result = TypeVar("Result", Report, Judgement)


def with_answers(
    findings: Iterable[Finding], answers: Mapping[str, str], knowledge: Knowledge
) -> tuple[Finding, ...]:
    """Return findings after answers to their checks, and a stop for every answer that calls for one.

    Parameters
    ----------
    findings : iterable of Finding
        Answers that were worked into them before are kept.
    answers : mapping of str to str
        Check id to "yes", "no" or "unknown"; other ids are left alone.
    knowledge : Knowledge
    """
    out = []
    seen: set[str] = set()
    for finding in findings:
        owner = knowledge.owner(finding)
        if owner is None:
            out.append(finding)
            continue
        ids = {e.check.id for e in owner.checks}
        seen |= ids
        given = {a.id: a.answer for a in finding.answered}
        given |= {k: v for k, v in answers.items() if k in ids}
        if not given:
            out.append(finding)
            continue
        out.append(
            lay_out(
                owner,
                code=finding.code,
                symptom=finding.symptom,
                level=finding.level,
                strength=finding.strength,
                speaks_for=finding.speaks_for,
                speaks_against=finding.speaks_against,
                event_ids=finding.event_ids,
                stop_kinds=finding.stop_kinds,
                say_first=finding.say_first,
                base=from_causes(finding.causes),
                answers=given,
                unproven=finding.unproven,
            )
        )
    for owner, entry in knowledge.entries():
        answer = answers.get(entry.check.id)
        if entry.check.id not in seen and answer is not None and _stops(entry, answer):
            out.append(_raised(owner, entry, answer))
    return tuple(out)


def _stops(entry: CheckEntry, answer: str) -> bool:
    return bool((answer == "yes" and entry.check.yes_stops) or (answer == "no" and entry.check.no_stops))


def _raised(owner: Fault | Danger, entry: CheckEntry, answer: str) -> Finding:
    return lay_out(
        owner,
        code=owner.code if isinstance(owner, Fault) else DANGER_CODE,
        symptom=owner.symptom,
        level="stop",
        strength="fair",
        speaks_for=(f"answered {answer}: {entry.check.text}",),
        stop_kinds=owner.stop_kinds if isinstance(owner, Danger) else (),
        answers={entry.check.id: answer},
    )


def _all_answered(
    before: tuple[Finding, ...], answers: Mapping[str, str], knowledge: Knowledge
) -> tuple[Finding, ...]:
    there = {f.symptom for f in before if f.code == DANGER_CODE}
    dangers = danger_findings(said="", answers=answers, knowledge=knowledge)
    found = (*(d for d in dangers if d.symptom not in there), *before)
    return order_findings(with_answers(found, answers, knowledge))


def answer(result: Result, answers: Mapping[str, str], *, machine: Machine | None = None) -> Result:
    """Return a report or judgement after answers.

    Parameters
    ----------
    result : Report or Judgement
        Earlier answers in it are kept; a new answer to the same check replaces the old one,
        but a stop that it called for stays.
    answers : mapping of str to str
        Id of a check or of a first-minute question to "yes", "no" or "unknown".
    machine : Machine or None
        Only for how the power is said to be cut (three phases).

    Raises
    ------
    BadParameter
        On an id or an answer that is not known.
    """
    knowledge = load_knowledge()
    check_ids_known(answers, knowledge)
    findings: tuple[Finding, ...] = _all_answered(result.findings, answers, knowledge)
    level = worst((result.level, *(f.level for f in findings)))
    stopped = level == "stop" and result.level != "stop"
    return replace(
        result,
        level=level,
        findings=findings,
        say_first=say_first(findings, machine, knowledge),
        retake=None if level == "stop" else result.retake,
        question=None if stopped else result.question,
    )


def next_check(result: Report | Judgement) -> Check | None:
    """Return the one check to do now, of the most urgent finding that has one open; None without any."""
    finding = next((f for f in result.findings if f.checks), None)
    if finding is None:
        return None
    owner = load_knowledge().owner(finding)
    if owner is None:
        return finding.checks[0]
    by_id = {e.check.id: e for e in owner.checks}
    named = {c.id for c in finding.checks} | {a.id for a in finding.answered}
    if not named <= by_id.keys():
        # Made by another version, whose checks are not these: its own order stands.
        return finding.checks[0]
    weights = from_causes(finding.causes)
    for done in finding.answered:
        weights = with_answer(weights, by_id[done.id], done.answer)
    return first_that_decides([by_id[c.id] for c in finding.checks], weights).check
