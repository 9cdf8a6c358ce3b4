"""Read the rows of the fault and danger tables; each is refused at load if it breaks a rule.

What is refused beyond spelling: a check for covers or live work that a customer
is to do; a check that runs the machine in a fault that only ever stops it; a
cause that no check decides; a check that speaks of a cause that is not there.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from listen.bench import (  # noqa: F401  (they enter their facts into FACTS)
    absence,
    pump_edges,
    rhythm,
    runs,
    silence,
    timings,
    told,
)
from listen.bench.entries import (
    EFFORTS,
    NEEDS,
    RESTS_ON,
    STRENGTHS,
    WHO,
    CauseEntry,
    CheckEntry,
    Clause,
    Condition,
    Danger,
    Fault,
    Part,
    Pattern,
    Sign,
)
from listen.bench.facts import FACTS
from listen.bench.machine import CHOICES, FLAGS
from listen.bench.tables import Table
from listen.types import LEVELS, STOP_KINDS, Check
from listen.vocabulary import ACTIONS, GAUGES, SOUNDS, STATES


@dataclass(frozen=True, slots=True)
class Names:
    """Words that rows refer to by slug."""

    cautions: Mapping[str, str]
    parts: Mapping[str, Part]


def read_parts(table: Table) -> dict[str, Part]:
    """Read the parts of the water path, in the order of the water."""
    found = {}
    for row in table.tables("part"):
        part = Part(
            slug=row.take("slug", str),
            words=row.take("words", str),
            does=row.take("does", str),
            bring=row.words("bring"),
            tools=row.words("tools"),
        )
        row.done()
        if part.slug in found:
            raise row.fail(f"the part {part.slug!r} stands there twice.")
        found[part.slug] = part
    table.done()
    return found


def read_condition(table: Table) -> Condition:
    """Read what a machine must be for an entry to hold."""
    known = table.words("known", (*CHOICES, *FLAGS))
    unknown = table.words("unknown", (*CHOICES, *FLAGS))
    allowed: dict[str, tuple[Any, ...]] = {}
    for key, value in table.rest().items():
        choices: tuple[Any, ...] = CHOICES.get(key, (True, False) if key in FLAGS else ())
        values = tuple(value) if isinstance(value, list) else (value,)
        if not choices or any(v not in choices or type(v) is not type(choices[0]) for v in values):
            raise table.fail(f"{key} = {value!r} is not a condition on a machine.")
        allowed[key] = values
    if both := set(unknown) & {*known, *allowed}:
        raise table.fail(f"{min(both)!r} cannot be unknown and be asked for as well.")
    return Condition(allowed, known, unknown)


def _clause(table: Table, rests_on: str) -> Clause:
    name = table.word("fact", sorted(FACTS))
    note = table.take("note", str, "")
    rests_on = table.word("rests_on", RESTS_ON, rests_on)
    given = table.rest()
    wanted = {k: p for k, p in inspect.signature(FACTS[name]).parameters.items() if k != "scene"}
    if odd := sorted(set(given) - set(wanted)):
        raise table.fail(
            f"the fact {name!r} takes no {', '.join(odd)}; it takes {', '.join(wanted) or 'nothing'}."
        )
    params: dict[str, Any] = {}
    for key, parameter in wanted.items():
        if key not in given:
            if parameter.default is inspect.Parameter.empty:
                raise table.fail(f"the fact {name!r} needs {key!r}.")
            continue
        params[key] = _value(table, key, given[key], str(parameter.annotation))
    return Clause(name, params, note, rests_on)


_VOCABULARY: dict[str, tuple[str, ...]] = {
    "sounds": SOUNDS,
    "apart_from": SOUNDS,
    "states": STATES,
    "not_in": STATES,
    "marks": ACTIONS,
}


def _value(table: Table, key: str, value: Any, annotation: str) -> Any:
    vocabulary = _VOCABULARY.get(key)
    if annotation == "tuple[str, ...]" and isinstance(value, list):
        if vocabulary is not None and (odd := [v for v in value if v not in vocabulary]):
            raise table.fail(f"{key!r} holds {odd[0]!r}, which is not a known word.")
        if key == "words":
            _regular(table, tuple(value))
        return tuple(value)
    if annotation == "float" and type(value) in (int, float):
        return float(value)
    if annotation == "bool" and type(value) is bool:
        return value
    if annotation == "int" and type(value) is int:
        return value
    if annotation == "str" and isinstance(value, str) and (key != "gauge" or value in GAUGES):
        return value
    numbers = isinstance(value, dict) and all(type(v) in (int, float) for v in value.values())
    if annotation.startswith("Mapping") and numbers:
        return {k: float(v) for k, v in value.items()}
    raise table.fail(f"{key!r} cannot be {value!r}.")


def _regular(table: Table, words: tuple[str, ...]) -> None:
    for word in words:
        try:
            re.compile(word)
        except re.error as problem:
            raise table.fail(f"{word!r} is not a regular expression ({problem}).") from problem


def _causes(table: Table, names: Names) -> tuple[CauseEntry, ...]:
    found = []
    for row in table.tables("causes"):
        slug = row.word("part", tuple(names.parts), None)
        found.append(
            CauseEntry(row.take("id", str), row.take("text", str), names.parts[slug] if slug else None)
        )
        row.done()
    ids = [c.id for c in found]
    if not ids or len(set(ids)) != len(ids):
        raise table.fail("'causes' must name at least one cause, each with an id of its own.")
    return tuple(found)


def _check(table: Table, names: Names, ids: tuple[str, ...]) -> CheckEntry:
    needs = table.word("needs", NEEDS)
    who = table.word("who", WHO)
    if who == "customer" and needs in ("covers_off_unplugged", "qualified_live"):
        raise table.fail(f"a check that needs {needs} is not for a customer.")
    check = Check(
        text=table.take("text", str),
        needs=needs,
        who=who,
        cautions=tuple(names.cautions[slug] for slug in table.words("cautions", tuple(names.cautions))),
        if_yes=table.take("if_yes", str),
        if_no=table.take("if_no", str),
        id=table.take("id", str),
        yes_stops=table.words("yes_stops", STOP_KINDS),
        no_stops=table.words("no_stops", STOP_KINDS),
    )
    entry = CheckEntry(
        check,
        runs_machine=table.take("runs_machine", bool, False),
        yes_for=table.words("yes_for", ids),
        no_for=table.words("no_for", ids),
        effort=table.word("effort", EFFORTS, "moment"),
    )
    table.done()
    if both := sorted(set(entry.yes_for) & set(entry.no_for)):
        raise table.fail(f"yes and no both speak for {both[0]!r}.")
    if not re.fullmatch(r"[a-z][a-z0-9_]*", check.id):
        raise table.fail(f"the id {check.id!r} must be a plain slug.")
    return entry


def _checks(
    table: Table, names: Names, causes: tuple[CauseEntry, ...], *, may_run: bool
) -> tuple[CheckEntry, ...]:
    ids = tuple(c.id for c in causes)
    checks = tuple(_check(row, names, ids) for row in table.tables("check"))
    if not checks:
        raise table.fail("there must be at least one check.")
    if not may_run and any(c.runs_machine for c in checks):
        raise table.fail("a check of something that stops the machine must not run it.")
    decided = {i for c in checks for i in (*c.yes_for, *c.no_for)}
    if len(ids) > 1 and (odd := [i for i in ids if i not in decided]):
        raise table.fail(f"no check decides on the cause {odd[0]!r}.")
    return checks


def _pattern(table: Table) -> Pattern:
    rests_on = table.word("rests_on", RESTS_ON, "estimate")
    pattern = Pattern(
        name=table.take("name", str),
        level=table.word("level", LEVELS),
        strength=table.word("strength", STRENGTHS),
        verdict=table.word("verdict", ("abnormal", "cannot_tell")),
        needs=tuple(_clause(row, rests_on) for row in table.tables("needs")),
        supports=tuple(_clause(row, rests_on) for row in table.tables("supports")),
        against=tuple(_clause(row, rests_on) for row in table.tables("against")),
        machine=read_condition(table.table("machine")),
        stop_kinds=table.words("stop_kinds", STOP_KINDS),
        say_first=table.take("say_first", str, ""),
        question=table.take("question", str, ""),
        symptom=table.take("symptom", str, ""),
    )
    table.done()
    if not pattern.needs:
        raise table.fail("a pattern needs at least one fact.")
    if (pattern.level == "stop") != bool(pattern.stop_kinds):
        raise table.fail("'stop_kinds' belong to level = \"stop\", and to no other.")
    return pattern


def _sign(table: Table, ids: tuple[str, ...]) -> Sign:
    speaks_for, speaks_against = table.words("for", ids), table.words("against", ids)
    steps, group = table.take("steps", int, 1), table.take("group", str, "")
    if not speaks_for and not speaks_against:
        raise table.fail("a sign speaks for or against at least one cause.")
    if steps not in (1, 2):
        raise table.fail(f"'steps' is {steps}; a sign weighs 1 or 2 steps.")
    return Sign(_clause(table, "estimate"), speaks_for, speaks_against, steps, group)


def read_fault(table: Table, names: Names) -> Fault:
    """Read one fault.

    Raises
    ------
    KnowledgeError
        On the first thing that is not as it should be.
    """
    patterns = tuple(_pattern(row) for row in table.tables("pattern"))
    causes = _causes(table, names)
    fault = Fault(
        code=table.take("code", str),
        symptom=table.take("symptom", str),
        causes=causes,
        checks=_checks(table, names, causes, may_run=any(p.level != "stop" for p in patterns)),
        patterns=patterns,
        machine=read_condition(table.table("machine")),
        rests_on=table.word("rests_on", RESTS_ON),
        explained_by=table.words("explained_by"),
        signs=tuple(_sign(row, tuple(c.id for c in causes)) for row in table.tables("signs")),
        plain=table.take("plain", str),
    )
    table.done()
    return fault


def read_danger(table: Table, names: Names) -> Danger:
    """Read one danger that a person may report.

    Raises
    ------
    KnowledgeError
        On the first thing that is not as it should be.
    """
    causes = _causes(table, names)
    danger = Danger(
        id=table.take("id", str),
        question=table.take("question", str, ""),
        symptom=table.take("symptom", str),
        do=table.take("do", str),
        stop_kinds=table.words("stop_kinds", STOP_KINDS),
        words=table.words("words"),
        causes=causes,
        checks=_checks(table, names, causes, may_run=False),
        first_minute=table.take("first_minute", bool, False),
        rests_on=table.word("rests_on", RESTS_ON),
        no_touch=table.take("no_touch", bool, False),
    )
    table.done()
    _regular(table, danger.words)
    if not danger.stop_kinds or (danger.first_minute and not danger.question):
        raise table.fail("a danger needs its kinds of stop, and a first-minute one its question.")
    return danger
