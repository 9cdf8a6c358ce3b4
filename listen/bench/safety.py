"""Stops that need no ear: gauge, words and answers alone.

They are judged before any sound and hold whatever the clip carries. A gauge
that was not read, an answer 'no' or 'it is fine now' lowers nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from listen.bench.entries import Danger, GaugeRule, Knowledge
from listen.bench.knowledge import load_knowledge
from listen.bench.ladder import order_checks
from listen.bench.machine import Machine
from listen.bench.said import mentions
from listen.errors import BadParameter
from listen.types import LEVELS, STOP_KINDS, Cause, Finding

ANSWERS: tuple[str, ...] = ("yes", "no", "unknown")


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the first minute. A *yes* is answered at once with `do`."""

    id: str
    text: str
    stop_kinds: tuple[str, ...]
    do: tuple[str, ...]


def first_minute_questions(machine: Machine | None = None) -> tuple[Question, ...]:
    """Return the questions that come before any upload.

    Returns
    -------
    tuple of Question
        `do` holds the sentences to say at a *yes*, in order.
    """
    knowledge = load_knowledge()
    return tuple(
        Question(d.id, d.question, d.stop_kinds, (*kind_sentences([d.stop_kinds], machine, knowledge), d.do))
        for d in knowledge.dangers
        if d.first_minute
    )


def kind_sentences(
    kinds: Iterable[tuple[str, ...]], machine: Machine | None, knowledge: Knowledge
) -> tuple[str, ...]:
    """Return the sentences for several stops, each kind once, in the order of saying.

    Water comes before power where one of the stops puts it so: water that runs
    with the power off.
    """
    kinds = list(kinds)
    order = list(STOP_KINDS)
    if any("water" in k and "power" in k and k.index("water") < k.index("power") for k in kinds):
        order.remove("water")
        order.insert(order.index("power"), "water")
    wanted = {kind for group in kinds for kind in group}
    three = machine is not None and machine.phases == 3
    out = []
    for kind in order:
        if kind in wanted:
            entry = knowledge.stop_kinds[kind]
            out.append(entry.say_three_phase if three else entry.say)
    return tuple(out)


def danger_findings(*, said: str, answers: Mapping[str, str], knowledge: Knowledge) -> tuple[Finding, ...]:
    """Return the dangers that a person reports in words or answers.

    Raises
    ------
    BadParameter
        When an answer is not for a question that is asked, or not yes, no or unknown.
    """
    asked = {d.id for d in knowledge.dangers if d.first_minute}
    for name, answer in answers.items():
        if name not in asked:
            raise BadParameter(
                f"There is no question {name!r}; the questions are {', '.join(sorted(asked))}."
            )
        if answer not in ANSWERS:
            raise BadParameter(f"The answer to {name!r} must be yes, no or unknown, not {answer!r}.")
    return tuple(
        finding
        for danger in knowledge.dangers
        if (finding := _from_danger(danger, said, answers.get(danger.id, "unknown"))) is not None
    )


def danger_of(finding: Finding, knowledge: Knowledge) -> Danger | None:
    """Return the danger behind a finding, None for any other finding."""
    return next((d for d in knowledge.dangers if d.symptom == finding.symptom), None)


def _from_danger(danger: Danger, said: str, answer: str) -> Finding | None:
    speaks = []
    if answer == "yes":
        speaks.append(f"answered yes: {danger.question}")
    phrase = mentions(said, danger.words)
    if phrase is not None:
        speaks.append(f"told: '{phrase.strip()}'")
    if not speaks:
        return None
    return Finding(
        code="danger_reported",
        symptom=danger.symptom,
        level="stop",
        strength="strong",
        speaks_for=tuple(speaks),
        parts=danger.parts,
        causes=tuple(Cause(text, i) for i, text in enumerate(danger.causes, 1)),
        checks=order_checks(danger.checks, level="stop"),
        stop_kinds=danger.stop_kinds,
        rests_on=danger.rests_on,
    )


def _limit(rule: GaugeRule, machine: Machine) -> float | None:
    if isinstance(rule.above, float):
        return rule.above
    value = getattr(machine, rule.above)
    return value[1] if isinstance(value, tuple) else value


def gauge_findings(
    *, machine: Machine, gauges: Mapping[str, float], knowledge: Knowledge
) -> tuple[Finding, ...]:
    """Return what gauge readings alone say; for each gauge the most urgent rule speaks."""
    best: dict[str, tuple[GaugeRule, float, float]] = {}
    for rule in knowledge.gauge_rules:
        bar, limit = gauges.get(rule.gauge), _limit(rule, machine)
        if (
            bar is None
            or limit is None
            or any(getattr(machine, key) is not None for key in rule.only_if_unknown)
        ):
            continue
        if bar > limit + rule.margin_bar + 1e-9:
            held = best.get(rule.gauge)
            if held is None or LEVELS.index(rule.level) > LEVELS.index(held[0].level):
                best[rule.gauge] = (rule, bar, limit)
    found = []
    for rule, bar, limit in best.values():
        fault = knowledge.fault(rule.fault)
        found.append(
            Finding(
                code=fault.code,
                symptom=fault.symptom,
                level=rule.level,
                strength="strong",
                speaks_for=(rule.say.format(bar=bar, limit=limit),),
                parts=fault.parts,
                causes=tuple(Cause(text, i) for i, text in enumerate(fault.causes, 1)),
                checks=order_checks(fault.checks, level=rule.level),
                stop_kinds=rule.stop_kinds,
                rests_on=fault.rests_on,
            )
        )
    return tuple(found)
