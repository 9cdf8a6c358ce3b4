"""Load and check the knowledge tables: a mistake in them is found at load, not at a customer's.

Every file is TOML; every key, word, fact and parameter must be known. The rows
of faults and dangers, and what is refused in them, stand in :mod:`listen.bench.rows`.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from listen.bench.entries import (
    RESTS_ON,
    ROLES,
    Action,
    Expectation,
    GaugeRule,
    Knowledge,
    SaidQuestion,
    Settings,
    StopKind,
    TimingRow,
)
from listen.bench.rows import Names, read_condition, read_danger, read_fault, read_parts
from listen.bench.tables import Table, read_toml
from listen.errors import KnowledgeError
from listen.resources import knowledge as shipped_folder
from listen.types import LEVELS, STOP_KINDS
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
    parts = read_parts(_read(folder, "parts/parts.toml"))
    names = Names(cautions, parts)
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
    danger_rows = tuple(read_danger(row, names) for row in dangers.tables("danger"))
    dangers.done()
    faults = tuple(read_fault(_read(folder, p), names) for p in _files(folder, "faults"))
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
    timings = _read(folder, "timings.toml")
    timing_rows = tuple(_timing(row) for row in timings.tables("timing"))
    timings.done()
    knowledge = Knowledge(
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
        parts=parts,
        timings=timing_rows,
    )
    _ids_once(knowledge)
    return knowledge


def _ids_once(knowledge: Knowledge) -> None:
    """Refuse two checks, or a check and a first-minute question, under one id: answers would meet both."""
    seen = {d.id for d in knowledge.dangers}
    for owner, entry in knowledge.entries():
        if entry.check.id in seen:
            name = getattr(owner, "code", None) or getattr(owner, "id", "")
            raise KnowledgeError(f"{name}: the check id {entry.check.id!r} is taken; choose another.")
        seen.add(entry.check.id)


def _timing(table: Table) -> TimingRow:
    usual = table.pair("usual")
    if usual is None:
        raise table.fail("the key 'usual' is missing.")
    row = TimingRow(
        name=table.take("name", str),
        words=table.take("words", str),
        unit=table.take("unit", str),
        usual=usual,
        rests_on=table.word("rests_on", RESTS_ON),
        machine=read_condition(table.table("machine")),
    )
    table.done()
    return row


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


def _expectations(table: Table) -> list[Expectation]:
    states = table.words("states", STATES)
    rows: list[Expectation] = []
    for row in table.tables("sound"):
        common: dict[str, Any] = {
            "sounds": row.words("sounds", SOUNDS),
            "role": row.word("role", ROLES),
            "machine": read_condition(row.table("machine")),
            "rests_on": row.word("rests_on", RESTS_ON),
            "at": row.word("at", ("span", "start", "end"), "span"),
            "before_s": row.take("before_s", float, 1.5),
            "after_s": row.take("after_s", float, 1.5),
            "boiler_at_most_bar": row.take("boiler_at_most_bar", float, None),
            "with_pump": row.take("with_pump", bool, False),
            "ends": row.take("ends", bool, False),
            "max_s": row.take("max_s", float, None),
            "must_carry": row.take("must_carry", bool, False),
            "question": row.take("question", str, ""),
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


def _stop_kinds(table: Table) -> dict[str, StopKind]:
    kinds = {}
    for kind in STOP_KINDS:
        row = table.table(kind)
        say = row.take("say", str)
        kinds[kind] = StopKind(
            kind, say, row.take("say_three_phase", str, say), row.take("say_no_touch", str, say)
        )
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
        first_stroke_s=table.take("first_stroke_s", float),
        first_stroke_probability=table.take("first_stroke_probability", float),
        strokes_show_pump=table.take("strokes_show_pump", float),
        mark_tolerance_s=table.take("mark_tolerance_s", float),
        unexplained_slack_s=table.take("unexplained_slack_s", float),
        pump_gap_s=table.take("pump_gap_s", float),
        drowned_pump_db=table.take("drowned_pump_db", float),
        drowned_strokes_db=table.take("drowned_strokes_db", float),
        soft_after_motor_db=table.take("soft_after_motor_db", float),
        soft_after_strokes_db=table.take("soft_after_strokes_db", float),
        loud_after_db=table.take("loud_after_db", float),
        perhaps_after_db=table.take("perhaps_after_db", float),
        behind_db=table.take("behind_db", float),
        no_discharge_p=table.take("no_discharge_p", float),
        discharge_band_hz=table.take("discharge_band_hz", float),
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
