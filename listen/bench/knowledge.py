"""Load and check the knowledge tables: a mistake in them is found at load, not at a customer's.

Every file is TOML; every key, word, fact and parameter must be known. What
the loader refuses beyond spelling: a check for covers or live work that a
customer is to do, and a check that runs the machine in a fault that only
ever stops it.
"""

from __future__ import annotations

import inspect
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from listen.bench import absence, runs  # noqa: F401  (they enter their facts into FACTS)
from listen.bench.entries import (
    NEEDS,
    RESTS_ON,
    ROLES,
    STRENGTHS,
    WHO,
    Action,
    CheckEntry,
    Clause,
    Condition,
    Danger,
    Expectation,
    Fault,
    GaugeRule,
    Knowledge,
    Pattern,
    SaidQuestion,
    Settings,
    StopKind,
)
from listen.bench.facts import FACTS
from listen.bench.machine import CHOICES, FLAGS
from listen.bench.tables import Table, read_toml
from listen.errors import KnowledgeError
from listen.resources import knowledge as shipped_folder
from listen.types import LEVELS, STOP_KINDS, Check
from listen.vocabulary import ACTIONS, GAUGES, SOUNDS, STATES

_MACHINE_LIMITS = (
    "boiler_band_bar",
    "boiler_red_bar",
    "safety_valve_plate_bar",
    "brew_band_bar",
    "line_band_bar",
)


@lru_cache(maxsize=4)
def load_knowledge(folder: Path | None = None) -> Knowledge:
    """Load all tables of a folder, the shipped one by default.

    Raises
    ------
    KnowledgeError
        On the first thing that is not as it should be, naming file and key.
    """
    folder = folder or shipped_folder()
    cautions = _texts(_read(folder, "cautions/cautions.toml"))
    states = _read(folder, "states/states.toml")
    state_words = _texts(states.table("states"))
    actions = {a.slug: a for a in map(_action, states.tables("action"))}
    states.done()
    _complete(state_words, STATES, "states/states.toml", "state")
    _complete(actions, ACTIONS, "states/states.toml", "action")
    questions = _read(folder, "questions.toml")
    said = tuple(_said_question(row) for row in questions.tables("said"))
    questions.done()
    gauges = _read(folder, "safety/gauges.toml")
    gauge_rules = tuple(_gauge_rule(row) for row in gauges.tables("rule"))
    gauges.done()
    dangers = _read(folder, "safety/dangers.toml")
    danger_rows = tuple(_danger(row, cautions) for row in dangers.tables("danger"))
    dangers.done()
    faults = tuple(_fault(_read(folder, p), cautions) for p in _files(folder, "faults"))
    codes = [f.code for f in faults]
    for rule in gauge_rules:
        if rule.fault not in codes:
            raise KnowledgeError(f"safety/gauges.toml: the fault {rule.fault!r} is not laid down in faults/.")
    for fault in faults:
        if odd := sorted(set(fault.explained_by) - set(codes)):
            raise KnowledgeError(
                f"faults: {fault.code!r} is explained by {odd[0]!r}, which is not laid down."
            )
    if len(set(codes)) != len(codes):
        raise KnowledgeError("faults: two files lay down the same code.")
    return Knowledge(
        settings=_settings(_read(folder, "settings.toml")),
        state_words=state_words,
        actions=actions,
        expectations=tuple(
            e for p in _files(folder, "expectations") for e in _expectations(_read(folder, p))
        ),
        faults=faults,
        gauge_rules=gauge_rules,
        dangers=danger_rows,
        stop_kinds=_stop_kinds(_read(folder, "safety/stop_kinds.toml")),
        cautions=cautions,
        said_questions=said,
    )


def _files(folder: Path, name: str) -> list[str]:
    found = sorted(f"{name}/{path.name}" for path in (folder / name).glob("*.toml"))
    if not found:
        raise KnowledgeError(f"{name}: no tables there; install the project again.")
    return found


def _read(folder: Path, name: str) -> Table:
    return read_toml(folder / name, name, KnowledgeError)


def _texts(table: Table) -> dict[str, str]:
    values = table.rest()
    for key, value in values.items():
        if not isinstance(value, str) or not value.strip():
            raise table.fail(f"{key!r} must be a text.")
    return values


def _complete(found: dict[str, Any], wanted: tuple[str, ...], where: str, noun: str) -> None:
    if odd := sorted(set(found) ^ set(wanted)):
        raise KnowledgeError(f"{where}: {noun} {', '.join(odd)} missing or not known.")


def _condition(table: Table) -> Condition:
    known = table.words("known", (*CHOICES, *FLAGS))
    allowed: dict[str, tuple[Any, ...]] = {}
    for key, value in table.rest().items():
        choices: tuple[Any, ...] = CHOICES.get(key, (True, False) if key in FLAGS else ())
        values = tuple(value) if isinstance(value, list) else (value,)
        if not choices or any(v not in choices or type(v) is not type(choices[0]) for v in values):
            raise table.fail(f"{key} = {value!r} is not a condition on a machine.")
        allowed[key] = values
    return Condition(allowed, known)


def _clause(table: Table) -> Clause:
    name = table.word("fact", sorted(FACTS))
    note = table.take("note", str, "")
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
    return Clause(name, params, note)


def _value(table: Table, key: str, value: Any, annotation: str) -> Any:
    vocabulary = {"sounds": SOUNDS, "apart_from": SOUNDS, "states": STATES, "not_in": STATES}.get(key)
    if annotation == "tuple[str, ...]" and isinstance(value, list):
        if vocabulary is not None and (odd := [v for v in value if v not in vocabulary]):
            raise table.fail(f"{key!r} holds {odd[0]!r}, which is not a known word.")
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


def _check(table: Table, cautions: dict[str, str]) -> CheckEntry:
    needs = table.word("needs", NEEDS)
    who = table.word("who", WHO)
    if who == "customer" and needs in ("covers_off_unplugged", "qualified_live"):
        raise table.fail(f"a check that needs {needs} is not for a customer.")
    check = Check(
        text=table.take("text", str),
        needs=needs,
        who=who,
        cautions=tuple(cautions[slug] for slug in table.words("cautions", tuple(cautions))),
        if_yes=table.take("if_yes", str),
        if_no=table.take("if_no", str),
    )
    runs_machine = table.take("runs_machine", bool, False)
    table.done()
    return CheckEntry(check, runs_machine)


def _checks(table: Table, cautions: dict[str, str], *, may_run: bool) -> tuple[CheckEntry, ...]:
    checks = tuple(_check(row, cautions) for row in table.tables("check"))
    if not checks:
        raise table.fail("there must be at least one check.")
    if not may_run and any(c.runs_machine for c in checks):
        raise table.fail("a check of something that stops the machine must not run it.")
    return checks


def _pattern(table: Table) -> Pattern:
    pattern = Pattern(
        name=table.take("name", str),
        level=table.word("level", LEVELS),
        strength=table.word("strength", STRENGTHS),
        verdict=table.word("verdict", ("abnormal", "cannot_tell")),
        needs=tuple(_clause(row) for row in table.tables("needs")),
        supports=tuple(_clause(row) for row in table.tables("supports")),
        against=tuple(_clause(row) for row in table.tables("against")),
        machine=_condition(table.table("machine")),
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


def _fault(table: Table, cautions: dict[str, str]) -> Fault:
    patterns = tuple(_pattern(row) for row in table.tables("pattern"))
    may_run = any(p.level != "stop" for p in patterns)
    fault = Fault(
        code=table.take("code", str),
        symptom=table.take("symptom", str),
        parts=table.words("parts"),
        causes=table.words("causes"),
        checks=_checks(table, cautions, may_run=may_run),
        patterns=patterns,
        machine=_condition(table.table("machine")),
        rests_on=table.word("rests_on", RESTS_ON),
        explained_by=table.words("explained_by"),
    )
    table.done()
    return fault


def _expectations(table: Table) -> list[Expectation]:
    states = table.words("states", STATES)
    rows: list[Expectation] = []
    for row in table.tables("sound"):
        common: dict[str, Any] = {
            "sounds": row.words("sounds", SOUNDS),
            "role": row.word("role", ROLES),
            "machine": _condition(row.table("machine")),
            "rests_on": row.word("rests_on", RESTS_ON),
            "at": row.word("at", ("span", "start", "end"), "span"),
            "before_s": row.take("before_s", float, 1.5),
            "after_s": row.take("after_s", float, 1.5),
            "boiler_at_most_bar": row.take("boiler_at_most_bar", float, None),
            "with_pump": row.take("with_pump", bool, False),
            "ends": row.take("ends", bool, False),
            "max_s": row.take("max_s", float, None),
            "must_carry": row.take("must_carry", bool, False),
        }
        row.done()
        if not common["sounds"]:
            raise row.fail("'sounds' is empty.")
        rows.extend(Expectation(state=state, **common) for state in states)
    table.done()
    return rows


def _action(table: Table) -> Action:
    action = Action(
        slug=table.word("slug", ACTIONS),
        words=table.take("words", str),
        begins=table.word("begins", STATES),
        certain=table.take("certain", bool),
        before=table.word("before", STATES, None),
        then=table.word("then", STATES, None),
        lasts_s=table.take("lasts_s", float, None),
        then_certain=table.take("then_certain", bool, False),
        lever_begins=table.word("lever_begins", STATES, None),
    )
    table.done()
    return action


def _gauge_rule(table: Table) -> GaugeRule:
    above: Any = table.rest_of("above")
    if type(above) is int:
        above = float(above)
    if type(above) is not float and above not in _MACHINE_LIMITS:
        raise table.fail("'above' must be a number of bar or a gauge field of the machine profile.")
    rule = GaugeRule(
        fault=table.take("fault", str),
        gauge=table.word("gauge", GAUGES),
        above=above,
        margin_bar=table.take("margin_bar", float, 0.0),
        level=table.word("level", LEVELS),
        stop_kinds=table.words("stop_kinds", STOP_KINDS),
        say=table.take("say", str),
        only_if_unknown=table.words("only_if_unknown", _MACHINE_LIMITS),
    )
    table.done()
    if (rule.level == "stop") != bool(rule.stop_kinds):
        raise table.fail("'stop_kinds' belong to level = \"stop\", and to no other.")
    return rule


def _danger(table: Table, cautions: dict[str, str]) -> Danger:
    danger = Danger(
        id=table.take("id", str),
        question=table.take("question", str, ""),
        symptom=table.take("symptom", str),
        do=table.take("do", str),
        stop_kinds=table.words("stop_kinds", STOP_KINDS),
        words=table.words("words"),
        parts=table.words("parts"),
        causes=table.words("causes"),
        checks=_checks(table, cautions, may_run=False),
        first_minute=table.take("first_minute", bool, False),
        rests_on=table.word("rests_on", RESTS_ON),
    )
    table.done()
    for word in danger.words:
        try:
            re.compile(word)
        except re.error as problem:
            raise table.fail(f"{word!r} is not a regular expression ({problem}).") from problem
    if not danger.stop_kinds or (danger.first_minute and not danger.question):
        raise table.fail("a danger needs its kinds of stop, and a first-minute one its question.")
    return danger


def _stop_kinds(table: Table) -> dict[str, StopKind]:
    kinds = {}
    for kind in STOP_KINDS:
        row = table.table(kind)
        say = row.take("say", str)
        kinds[kind] = StopKind(kind, say, row.take("say_three_phase", str, say))
        row.done()
    table.done()
    return kinds


def _said_question(table: Table) -> SaidQuestion:
    row = SaidQuestion(table.words("words"), table.take("question", str))
    table.done()
    return row


def _settings(table: Table) -> Settings:
    settings = Settings(
        event_probability=table.take("event_probability", float),
        absence_ceiling=table.take("absence_ceiling", float),
        mark_tolerance_s=table.take("mark_tolerance_s", float),
        unexplained_slack_s=table.take("unexplained_slack_s", float),
        pump_gap_s=table.take("pump_gap_s", float),
        pressure_sounds=table.words("pressure_sounds", SOUNDS),
        needs_explaining=table.words("needs_explaining", SOUNDS),
        masks={k: tuple(v) for k, v in table.table("masks").rest().items()},
        draft_brew_s=table.take("draft_brew_s", float),
        draft_min_pump_s=table.take("draft_min_pump_s", float),
        burst_after_s=table.take("burst_after_s", float),
        default_question=table.take("default_question", str),
        default_retake=table.take("default_retake", str),
    )
    table.done()
    for mask, hidden in settings.masks.items():
        if mask not in SOUNDS or any(h not in (*SOUNDS, "*") for h in hidden):
            raise table.fail(f"[masks] {mask} = {list(hidden)!r} holds a word that is not a sound.")
    return settings
