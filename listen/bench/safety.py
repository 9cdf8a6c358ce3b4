"""Stops that need no ear: gauge, words and answers alone.

They are judged before any sound and hold whatever the clip carries. A gauge
that was not read, an answer 'no' or 'it is fine now' lowers nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from listen.bench.entries import DANGER_CODE, Danger, GaugeRule, Knowledge
from listen.bench.knowledge import load_knowledge
from listen.bench.ladder import kinds_in_order, lay_out
from listen.bench.machine import Machine
from listen.bench.said import mentions
from listen.errors import BadParameter
from listen.types import LEVELS, Finding

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
    kinds: Iterable[tuple[str, ...]],
    machine: Machine | None,
    knowledge: Knowledge,
    *,
    no_touch: bool = False,
) -> tuple[str, ...]:
    """Return the sentences for several stops, each kind once, in the order of saying.

    With `no_touch` the casing may be live: nobody is sent to a metal tap.
    """
    three = machine is not None and machine.phases == 3
    out = []
    for kind in kinds_in_order(kinds):
        entry = knowledge.stop_kinds[kind]
        out.append(entry.say_no_touch if no_touch else entry.say_three_phase if three else entry.say)
    return tuple(out)


def danger_findings(*, said: str, answers: Mapping[str, str], knowledge: Knowledge) -> tuple[Finding, ...]:
    """Return the dangers that a person reports in words or answers.

    Ids of `answers` that are no first-minute question are left alone.
    """
    return tuple(
        finding
        for danger in knowledge.dangers
        if (finding := _from_danger(danger, said, answers.get(danger.id, "unknown"))) is not None
    )


def check_ids_known(answers: Mapping[str, str], knowledge: Knowledge) -> None:
    """Refuse an answer to nothing that is asked.

    Raises
    ------
    BadParameter
        When an id is neither a first-minute question nor a check, or the answer
        is not yes, no or unknown.
    """
    questions = [d.id for d in knowledge.dangers if d.first_minute]
    known = {*questions, *(e.check.id for _, e in knowledge.entries())}
    for name, answer in answers.items():
        if name not in known:
            raise BadParameter(
                f"There is no question or check {name!r}; the first questions are {', '.join(questions)}, "
                "and each check of a result carries its own name."
            )
        if answer not in ANSWERS:
            raise BadParameter(f"The answer to {name!r} must be yes, no or unknown, not {answer!r}.")


def say_first(findings: Iterable[Finding], machine: Machine | None, knowledge: Knowledge) -> str | None:
    """Return what is said before anything else: reasons, kinds of stop in their order, what not to do."""
    findings = list(findings)
    stops = [f for f in findings if f.level == "stop"]
    if not stops:
        return next((f.say_first for f in findings if f.say_first), None)
    dangers = [o for f in stops if isinstance(o := knowledge.owner(f), Danger)]
    extra = [d.do for d in dangers]
    no_touch = any(d.no_touch for d in dangers)
    kinds = kind_sentences([f.stop_kinds for f in stops], machine, knowledge, no_touch=no_touch)
    return " ".join(dict.fromkeys((*(f.say_first or f.symptom for f in stops), *kinds, *extra)))


def _from_danger(danger: Danger, said: str, answer: str) -> Finding | None:
    speaks = []
    if answer == "yes":
        speaks.append(f"answered yes: {danger.question}")
    phrase = mentions(said, danger.words)
    if phrase is not None:
        speaks.append(f"told: '{phrase.strip()}'")
    if not speaks:
        return None
    return lay_out(
        danger,
        code=DANGER_CODE,
        symptom=danger.symptom,
        level="stop",
        strength="strong",
        speaks_for=speaks,
        stop_kinds=danger.stop_kinds,
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
            lay_out(
                fault,
                code=fault.code,
                symptom=fault.symptom,
                level=rule.level,
                strength="strong",
                speaks_for=(rule.say.format(bar=bar, limit=limit),),
                stop_kinds=rule.stop_kinds,
            )
        )
    return tuple(found)
