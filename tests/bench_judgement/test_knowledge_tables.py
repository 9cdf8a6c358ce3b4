"""The knowledge is data: a slip in it must be found when it is loaded, with file and key named."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from listen.bench import load_knowledge
from listen.bench.facts import FACTS
from listen.errors import KnowledgeError
from listen.resources import knowledge as shipped
from listen.vocabulary import ACTIONS, SOUNDS, STATES

FAMILIES = (
    "missing_click_brew", "missing_click_fill", "stalled_motor", "lasting_hiss", "blast", "starved_pump",
    "no_burst", "fill_too_often", "fill_never_ends", "solenoid_buzz", "chatter", "gauge_high", "gauge_in_red",
)  # fmt: skip


def altered(tmp_path: Path, name: str, old: str, new: str) -> Path:
    folder = tmp_path / "knowledge"
    shutil.copytree(shipped(), folder)
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


def test_the_shipped_tables_load_and_are_complete() -> None:
    knowledge = load_knowledge()
    codes = {f.code for f in knowledge.faults}
    assert set(FAMILIES) <= codes
    assert set(knowledge.state_words) == set(STATES) and set(knowledge.actions) == set(ACTIONS)
    assert {e.state for e in knowledge.expectations} == set(STATES)
    for fault in knowledge.faults:
        assert fault.causes and fault.checks and fault.symptom.endswith(".")
        assert fault.plain.endswith(".") and fault.plain != fault.code
        assert fault.code in ("unlike_itself",) or any(c.part for c in fault.causes)


def test_every_fact_is_used_or_at_least_documented() -> None:
    used = {
        c.fact
        for f in load_knowledge().faults
        for p in f.patterns
        for c in (*p.needs, *p.supports, *p.against, *(sign.clause for sign in f.signs))
    }
    assert used <= set(FACTS) and set(FACTS) - used == set()
    assert all(function.__doc__ for function in FACTS.values())


def test_every_sound_that_needs_explaining_is_taken_by_a_fault() -> None:
    knowledge = load_knowledge()
    left = knowledge.fault("unexplained_sound")
    taken = {s for p in left.patterns for c in p.needs for s in c.params["sounds"]}
    taken |= {"blast"}  # has its own fault, which stops
    assert taken == set(knowledge.settings.needs_explaining) and taken <= set(SOUNDS)


@pytest.mark.parametrize(
    ("name", "old", "new", "why"),
    [
        ("faults/chatter.toml", "symptom =", "symptoms =", "symptom"),
        ("faults/chatter.toml", 'fact = "heard_in"', 'fact = "herd_in"', "'fact'"),
        ("faults/chatter.toml", '"click_train"', '"clickety"', "not a known word"),
        ("faults/chatter.toml", '"cold_start"', '"cold"', "not a known word"),
        ("faults/chatter.toml", "at_least", "atleast", "takes no atleast"),
        ("faults/chatter.toml", "count = 8", 'count = "8"', "cannot be"),
        ("faults/chatter.toml", 'level = "service"', 'level = "soon"', "one of fine"),
        ("faults/chatter.toml", 'level = "service"', 'level = "stop"', "stop_kinds"),
        ("faults/chatter.toml", 'who = "technician"', 'who = "customer"', "not for a customer"),
        ("faults/chatter.toml", 'needs = "look"', 'needs = "glance"', "one of look"),
        ("faults/chatter.toml", 'rests_on = "common practice"', 'rests_on = "hearsay"', "one of published"),
        ("faults/chatter.toml", 'code = "chatter"', 'code = "blast"', "same code"),
        ("faults/chatter.toml", "if_no = ", "otherwise = ", "if_no"),
        ("faults/lasting_hiss.toml", "bar = 0.3\n", "", "needs 'bar'"),
        ("faults/lasting_hiss.toml", '["invisible_jet", "hot"]', '["jet"]', "holds 'jet'"),
        ("faults/blast.toml", 'who = "customer"', 'who = "customer"\nruns_machine = true', "must not run"),
        ("faults/no_burst.toml", '["solenoid", "lever_drain"]', '["magnet"]', "not a condition"),
        ("faults/no_burst.toml", '["missing_click_brew"]', '["no_click"]', "not laid down"),
        ("expectations/brew.toml", '"motor_run"', '"moter_run"', "holds 'moter_run'"),
        ("expectations/brew.toml", 'known = ["pump"]', 'unknown = ["pump"]', "cannot be unknown"),
        ("expectations/brew.toml", 'role = "must"', 'role = "shall"', "one of must"),
        ("states/states.toml", 'brew_end = "brew ending"', "", "state brew_end"),
        ("states/states.toml", 'slug = "flush"', 'slug = "fill_button"', "action flush"),
        ("safety/gauges.toml", 'fault = "gauge_in_red"', 'fault = "gauge_red"', "not laid down"),
        ("safety/gauges.toml", 'above = "boiler_red_bar"', 'above = "boiler_green_bar"', "'above'"),
        ("safety/gauges.toml", 'gauge = "boiler"', 'gauge = "tank"', "one of boiler"),
        ("safety/dangers.toml", 'stop_kinds = ["stand_clear", "power"]', "stop_kinds = []", "kinds of stop"),
        ("safety/dangers.toml", 'needs = "look"', 'needs = "look"\nruns_machine = true', "must not run"),
        ("safety/dangers.toml", '"scald\\\\w*"', '"scald("', "regular expression"),
        ("safety/stop_kinds.toml", "[handle]", "[lever]", "say"),
        ("settings.toml", "mark_tolerance_s = 1.5", 'mark_tolerance_s = "long"', "a number"),
        ("settings.toml", "event_probability", "probability", "event_probability"),
        ("settings.toml", 'grinder = ["*"]', 'mill = ["*"]', "not a sound"),
        ("questions.toml", "words =", "word =", "unknown key"),
        ("cautions/cautions.toml", 'hot = "', "hot = 3 #", "must be a text"),
    ],
)
def test_slips_are_found(tmp_path: Path, name: str, old: str, new: str, why: str) -> None:
    with pytest.raises(KnowledgeError, match=why):
        load_knowledge(altered(tmp_path, name, old, new))


def test_an_empty_folder_is_no_knowledge(tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError, match="cannot be read"):
        load_knowledge(tmp_path)


def test_a_fault_grows_by_a_few_lines(tmp_path: Path) -> None:
    folder = altered(tmp_path, "settings.toml", "# Numbers", "# Numbers")
    (folder / "faults" / "new.toml").write_text(
        'code = "squealing"\nsymptom = "A squeal."\nplain = "It squeals."\n'
        'causes = [{ id = "dry_bearing", text = "dry bearing", part = "pump" }]\n'
        'rests_on = "common practice"\n'
        '[[pattern]]\nname = "squeal"\nlevel = "service"\nstrength = "fair"\nverdict = "abnormal"\n'
        '[[pattern.needs]]\nfact = "heard_with_pump"\nsounds = ["squeal"]\nmin_s = 1.0\n'
        '[[check]]\nid = "brew_or_fill"\ntext = "Brew or fill?"\nneeds = "look"\nwho = "customer"\nif_yes = "a"\nif_no = "b"\n'
    )
    assert load_knowledge(folder).fault("squealing").patterns[0].needs[0].params["min_s"] == 1.0
