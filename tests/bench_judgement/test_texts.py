"""Every sentence of the knowledge, read for what must never be advised."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass

import pytest

from listen.bench import first_minute_questions, load_knowledge
from listen.bench.messages import message_words

#: Texts that match must carry a plain 'never' or 'do not' before the match, in the same sentence.
FORBIDDEN = {
    "touches the safety valve": (
        r"\b(?:adjust|tap|seat|block|plug|screw|tighten|wire|press|hold)\w*\b[^.;:]*\bsafety valve"
    ),
    "safety valve is touched": (
        r"safety valve[^.;:]*"
        r"\b(?:adjusted|tapped|seated|blocked|plugged|tightened|re-?set|set (?:higher|lower))"
    ),
    "opens the handle": (
        r"\b(?:open|turn|loosen|unlock|remove|twist|take out)\w*\b[^.;:]*\b(?:handle|portafilter)\b"
    ),
    "bypasses": (
        r"\b(?:bridge|jumper|short out|defeat|override|disable|link out)\w*\b"
        r"|\bbypass(?:ing|es)? (?:the|a) (?:limit|high|safety|interlock|switch|thermostat)"
    ),
    "says safe": r"\bsafe(?:ly)?\b(?! ?(?:ty|part))",
    "resets while plugged": r"(?<!manual-)\b(?:reset|switch(?:es|ed)? (?:the )?breaker on)\w*\b|switch on again",
    "live work by hand": r"\bpull\w*\b[^.;:]*\b(?:connector|coil|wire|plug of the valve)",
    "water on a hot dry boiler": r"\b(?:add|pour)\w*\b[^.;:]*\bwater\b",
    "vents by the wand": r"\bopen\w*\b[^.;:]*\bsteam tap\b",
    "feels for steam": r"\b(?:feel|touch)\w*\b[^.;:]*\b(?:steam|jet|hot)\b",
    "goes near": r"\bgo(?:es)? (?:close|near)\b|\bapproach\w*\b",
    "live covers": r"covers? off[^.;:]*\b(?:running|powered|plugged in)\b",
}
NEGATED = re.compile(r"\b(?:never|do not|don't|not|no|nor|without)\b", re.IGNORECASE)


def _texts(thing: object, where: str):
    if isinstance(thing, str):
        if " " in thing:
            yield where, thing
    elif is_dataclass(thing):
        for f in fields(thing):
            if f.name not in ("words", "params"):
                yield from _texts(getattr(thing, f.name), f"{where}.{f.name}")
    elif isinstance(thing, dict):
        for key, value in thing.items():
            yield from _texts(value, f"{where}.{key}")
    elif isinstance(thing, (tuple, list)):
        for i, value in enumerate(thing):
            yield from _texts(value, f"{where}[{i}]")


ALL = [
    *_texts(load_knowledge(), "knowledge"),
    *_texts(message_words(), "messages"),
    *_texts(first_minute_questions(), "first minute"),
]
ASKS = (".question", ".symptom", ".name", ".text")


def test_there_is_enough_to_read() -> None:
    assert len(ALL) > 300


@pytest.mark.parametrize("what", sorted(FORBIDDEN))
def test_nothing_forbidden_is_advised(what: str) -> None:
    pattern = re.compile(FORBIDDEN[what], re.IGNORECASE)
    bad = []
    for where, text in ALL:
        if ".causes[" in where:
            continue  # what happened, not what to do
        for sentence in re.split(r"(?<=[.;:!?])\s+", text):
            for match in pattern.finditer(sentence):
                asked = sentence.rstrip().endswith("?") and where.endswith(ASKS)
                if not asked and not NEGATED.search(sentence[: match.end()]):
                    bad.append((where, sentence))
    assert not bad


def test_a_forbidden_sentence_would_be_found() -> None:
    samples = {
        "touches the safety valve": "Tap the safety valve lightly.",
        "safety valve is touched": "The safety valve can be adjusted.",
        "opens the handle": "Then open the handle slowly.",
        "bypasses": "Bridge the contact for a test.",
        "says safe": "It is safe to go on.",
        "resets while plugged": "Reset the breaker and try.",
        "live work by hand": "Pull the connector off the coil.",
        "water on a hot dry boiler": "Add some water at once.",
        "vents by the wand": "Open the steam tap to let it off.",
        "feels for steam": "Feel for the steam with a hand.",
        "goes near": "Go close to read it.",
        "live covers": "With covers off and running, listen.",
    }
    assert set(samples) == set(FORBIDDEN)
    for what, text in samples.items():
        match = re.search(FORBIDDEN[what], text, re.IGNORECASE)
        assert match and not NEGATED.search(text[: match.end()]), what


def test_no_percentages_and_no_blame() -> None:
    for where, text in ALL:
        assert "%" not in text, (where, text)
        assert not re.search(
            r"\b(?:your fault|you should have|careless|user error)\b", text, re.IGNORECASE
        ), text


def test_sentences_are_sentences() -> None:
    for fault in load_knowledge().faults:
        for entry in fault.checks:
            check = entry.check
            assert check.text[0].isupper() and check.text[-1] in ".?", check.text
            assert all(t[0].isupper() and t[-1] in ".!" for t in (check.if_yes, check.if_no)), check.text
        for cause in fault.causes:
            assert cause.text[-1] not in "." and len(cause.text) < 140, cause


def test_every_caution_is_used() -> None:
    knowledge = load_knowledge()
    entries = [c for f in knowledge.faults for c in f.checks] + [
        c for d in knowledge.dangers for c in d.checks
    ]
    used = {caution for entry in entries for caution in entry.check.cautions}
    unused = {slug for slug, text in knowledge.cautions.items() if text not in used}
    assert unused <= {"detergent"}
    live = [e.check for e in entries if e.check.needs == "qualified_live"]
    assert live and all(knowledge.cautions["local_rules"] in c.cautions for c in live)
    opened = [e.check for e in entries if e.check.needs == "covers_off_unplugged"]
    mains, water = knowledge.cautions["mains"], knowledge.cautions["water_on"]
    assert opened and all(mains in c.cautions or water in c.cautions for c in opened)
