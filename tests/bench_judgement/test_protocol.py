"""The shop's first hour: what it covers, what it never asks, and how its loader refuses mistakes."""

from __future__ import annotations

import dataclasses
import re
import shutil
import tomllib

import pytest

from listen.bench import first_minute_questions, load_knowledge
from listen.bench.protocol import DISTANCE_CM, FILE, load_protocol
from listen.errors import BadParameter, KnowledgeError
from listen.resources import knowledge as shipped
from tests.bench_judgement.test_texts import FORBIDDEN, NEGATED

PROTOCOL = load_protocol()
SENTENCES = re.compile(r"(?<=[.;:!?])\s+")


def texts():
    """Yield every text that a person reads, with the field that it stands in."""
    for step in PROTOCOL.steps:
        for name in ("do", "stop_if"):
            yield from ((name, text) for text in getattr(step, name))
        yield from (("title", step.title), ("learns", step.learns), ("skip_if", step.skip_if))
    yield from (("before", text) for text in PROTOCOL.before)
    yield from (("always_stop_if", text) for text in PROTOCOL.always_stop_if)
    yield from (("leave_it", PROTOCOL.leave_it), ("purpose", PROTOCOL.purpose))


@pytest.fixture
def altered(tmp_path):
    """Load the shipped tables with one text of the protocol replaced."""

    def load(old: str, new: str):
        text = (shipped() / FILE).read_text(encoding="utf-8")
        assert old in text
        (tmp_path / FILE).write_text(text.replace(old, new, 1), encoding="utf-8")
        return load_protocol(tmp_path)

    return load


def test_the_day_is_covered_in_order():
    states = [step.state for step in PROTOCOL.steps if not step.faults]
    assert states == [
        "off_at_wall", "cold_start", "warm_up", "vent_closing", "idle_hot", "auto_fill",
        "brew", "brew_end", "steam", "cool_down",
    ]  # fmt: skip
    assert PROTOCOL.machines == 3
    assert all(step.faults for step in PROTOCOL.steps[len(states) :]) and len(PROTOCOL.steps) > len(states)
    # It must fit into the hour that it promises, with half of it left for walking and waiting.
    assert PROTOCOL.recorded_s <= 0.6 * 3600
    assert PROTOCOL.recorded_s == 3 * sum(s.seconds for s in PROTOCOL.steps if not s.faults)


def test_phones_lie_outside_steam_and_splashes():
    for step in PROTOCOL.steps:
        assert DISTANCE_CM[0] <= step.distance_cm <= DISTANCE_CM[1]
        if step.state in ("steam", "vent_closing"):
            assert step.distance_cm >= 50, step.slug


def test_the_first_minute_stands_before_the_first_step():
    assert PROTOCOL.gate == first_minute_questions()
    no = {question.id: "no" for question in PROTOCOL.gate}
    assert PROTOCOL.steps_after(no) == PROTOCOL.steps
    for name in no:
        assert PROTOCOL.steps_after(no | {name: "yes"}) == ()
        # What nobody knows clears nothing; nor does a question that was not asked.
        assert PROTOCOL.steps_after(no | {name: "unknown"}) == ()
        assert PROTOCOL.steps_after({k: v for k, v in no.items() if k != name}) == ()
    with pytest.raises(BadParameter, match="no question 'weather'"):
        PROTOCOL.steps_after(no | {"weather": "no"})
    with pytest.raises(BadParameter, match="yes, no or unknown"):
        PROTOCOL.steps_after(no | {"steam_out": "perhaps"})


def test_known_faults_cannot_stop_a_machine_and_are_for_a_technician():
    knowledge = load_knowledge()
    for step in PROTOCOL.steps:
        assert bool(step.faults) == (step.who == "technician")
        for code in step.faults:
            assert {p.level for p in knowledge.fault(code).patterns} <= {"watch", "service"}
        if step.faults:
            assert any("Never make a fault" in text or "already found" in text for text in step.do)


@pytest.mark.parametrize("what", sorted(FORBIDDEN))
def test_nothing_forbidden_is_asked(what):
    pattern = re.compile(FORBIDDEN[what], re.IGNORECASE)
    for where, text in texts():
        for sentence in SENTENCES.split(text):
            for match in pattern.finditer(sentence):
                assert NEGATED.search(sentence[: match.end()]), (where, sentence)


#: What would bring a danger about, with a sentence that must be found.
PROVOKING = {
    r"\b(?:raise|turn up|increase|build)\w*\b[^.;:]*\bpressure": "Build up more pressure.",
    r"\bcovers?\b[^.;:]*\b(?:off|open|remove)": "Take the cover off for a clearer sound.",
    r"\b(?:empty|drain|without water|runs? dry)\b": "Let the boiler run dry for a moment.",
    r"\b(?:provoke|make|force|simulate|bring back) (?:a|an|the|one)\b": "Provoke a fault.",
    r"\b(?:unplug|disconnect|loosen|unscrew|bend|shake)\b": "Disconnect one wire of the coil.",
    r"\bblind\b|\bblank basket\b|\bback-?flush": "Lock in a blind basket and start the pump.",
}


@pytest.mark.parametrize("provoking", PROVOKING)
def test_no_step_provokes_anything(provoking):
    found = re.search(provoking, PROVOKING[provoking], re.IGNORECASE)
    assert found and not NEGATED.search(PROVOKING[provoking])
    for where, text in texts():
        for sentence in SENTENCES.split(text):
            for match in re.finditer(provoking, sentence, re.IGNORECASE):
                assert NEGATED.search(sentence[: match.end()]), (where, sentence)


def test_covers_stay_on_and_heat_and_pressure_are_named():
    assert any("every cover on" in text for text in PROTOCOL.before)
    cautions = load_knowledge().cautions
    for step in PROTOCOL.steps:
        if step.state not in ("off_at_wall", "cold_start"):
            assert cautions["hot"] in step.cautions, step.slug
        if step.state in ("brew", "brew_end") and not step.faults:
            assert cautions["handle"] in step.cautions, step.slug
        if step.state in ("steam", "vent_closing"):
            assert cautions["invisible_jet"] in step.cautions, step.slug
    assert cautions["pressure"] in PROTOCOL.steps[9].cautions


def test_sentences_read_as_sentences():
    for where, text in texts():
        if where in ("do", "learns", "before", "leave_it", "purpose") or (where == "skip_if" and text):
            assert text[0].isupper() and text[-1] == ".", text
        if where in ("stop_if", "always_stop_if"):
            assert text[-1] not in ".!", text
        assert not re.search(r"\b(?:obviously|simply|just|easy|of course)\b", text, re.IGNORECASE), text
        assert max((len(s.split()) for s in SENTENCES.split(text)), default=0) <= 40, text


def test_the_dataclasses_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        PROTOCOL.steps[0].seconds = 1
    assert load_protocol() is PROTOCOL


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("machines = 3", "machines = 3\ncolour = 1", "unknown key 'colour'"),
        ("seconds = 20", "seconds = 20\nsecnds = 3", "unknown key 'secnds'"),
        ('state = "off_at_wall"', 'state = "asleep"', "'state' is 'asleep'"),
        ("seconds = 20", "seconds = 900", "'seconds' is 900; it must lie between 5 and 300"),
        ("distance_cm = 30", "distance_cm = 3", "'distance_cm' is 3"),
        ("seconds = 20", 'seconds = "20"', "'seconds' must be a whole number"),
        ('who = "anyone"', 'who = "a child"', "'who' is 'a child'"),
        ('cautions = ["water_on"]', "cautions = []", "'cautions' is empty"),
        ('cautions = ["water_on"]', 'cautions = ["luck"]', "'cautions' holds 'luck'"),
        ('faults = ["solenoid_buzz"]', 'faults = ["blast"]', "'blast' can stop the machine"),
        ('faults = ["solenoid_buzz"]', 'faults = ["gauge_in_red"]', "'gauge_in_red' can stop the machine"),
        ('faults = ["solenoid_buzz"]', 'faults = ["no_burst"]', "'no_burst' can stop the machine"),
        ('faults = ["solenoid_buzz"]', 'faults = ["gremlins"]', "'faults' holds 'gremlins'"),
        ('slug = "idle"', 'slug = "off"', "each with a slug of its own"),
        ("machines = 3", "machines = ", "not valid TOML"),
    ],
)
def test_mistakes_are_refused_at_load(altered, old, new, says):
    with pytest.raises(KnowledgeError, match=re.escape(says)):
        altered(old, new)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(KnowledgeError, match=r"protocol\.toml: the file cannot be read"):
        load_protocol(tmp_path)
    shutil.copy(shipped() / FILE, tmp_path / FILE)
    assert load_protocol(tmp_path) == PROTOCOL
    assert tomllib.loads((tmp_path / FILE).read_text(encoding="utf-8"))["machines"] == PROTOCOL.machines
