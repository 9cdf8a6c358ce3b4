"""A result in words: five lines, a message to a customer, a question to read aloud, what to bring."""

from __future__ import annotations

import re

import pytest

from listen.bench import answer, customer_message, load_knowledge, read_aloud, summary_lines, to_bring
from tests.bench_judgement.cases import CASES, Case
from tests.bench_judgement.scenes import BREW_DID, TELEPHONE, brew, ev, say
from tests.bench_judgement.test_texts import FORBIDDEN, NEGATED

BLAME = re.compile(r"\b(?:your fault|should have|careless|wrongly|misus\w+|user error)\b", re.IGNORECASE)
JARGON = re.compile(r"\b(?:dB|Hz|SSR|rpm|centroid|armature|mains_hum|solenoid)\b")
RUNNING = {e.check.text for _, e in load_knowledge().entries() if e.runs_machine}


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.code)
def test_words_of_every_example(case: Case) -> None:
    got = case.judge()
    lines = summary_lines(got)
    assert len(lines) == 5 and all(line.endswith((".", "?", ")")) and "_" not in line for line in lines), (
        lines
    )
    for long in (False, True):
        message = customer_message(got, long=long)
        assert "%" not in message and not BLAME.search(message) and "_" not in message
        assert not re.search(r"\bsafe(?:ly)?\b(?! ?(?:ty|part))", message, re.IGNORECASE)
        for text in RUNNING:
            assert text not in message
        for name, pattern in FORBIDDEN.items():
            for sentence in re.split(r"(?<=[.;:!?])\s+", message):
                for match in re.finditer(pattern, sentence, re.IGNORECASE):
                    assert sentence.endswith("?") or NEGATED.search(sentence[: match.end()]), (name, sentence)
    assert not JARGON.search(customer_message(got)) or got.question
    assert len(customer_message(got, long=True)) >= len(customer_message(got))
    assert read_aloud(got)


def test_a_stop_is_said_in_full_first_and_asks_for_nothing() -> None:
    stopped = [c for c in CASES if c.level == "stop"]
    assert len(stopped) >= 14
    for case in stopped:
        got = case.judge()
        message = customer_message(got)
        assert got.say_first and message.startswith(got.say_first)
        assert "leave the machine off" in message and "do not need another recording" in message
        assert read_aloud(got) == got.say_first
        assert summary_lines(got)[0] == f"STOP: {got.say_first}"
        assert "?" not in message.replace(got.say_first, "")


def test_nothing_heard_is_no_all_clear() -> None:
    message = customer_message(say(*brew(), did=BREW_DID))
    assert "no proof that nothing is wrong" in message
    cannot = say(ev("speech", 0.0, 30.0), did=BREW_DID, quality=TELEPHONE)
    assert "does not let us tell" in customer_message(cannot)
    assert "phone's own recorder" in customer_message(cannot)


def test_a_service_message_says_when_to_switch_off() -> None:
    message = customer_message(say(*brew(), ev("gravel", 6.0, 25.0), did=BREW_DID))
    assert "too little water" in message and "Switch off at the plug" in message and "do not open" in message


def test_what_is_to_be_done_first_is_in_the_message_at_every_level() -> None:
    for case in CASES:
        got = case.judge()
        if got.say_first and got.findings[0].level != "fine":
            assert got.say_first in customer_message(got), case.code


def test_another_appliance_is_no_reason_to_worry() -> None:
    message = customer_message(next(c for c in CASES if c.code == "another_appliance").judge())
    assert "another appliance" in message and "keep an eye" not in message


def test_what_to_bring_follows_the_answers() -> None:
    got = say(*brew(), ev("gravel", 6.0, 25.0), did=BREW_DID)
    assert to_bring(got).parts[0] == "strainer and filter insert"
    low = answer(got, {"line_holds": "no"})
    assert to_bring(low).parts[0] == "inlet hose with seals"
    assert "line gauge with adapter" in to_bring(low).tools
    assert to_bring(say(*brew(), did=BREW_DID)).parts == ()


def test_the_summary_says_what_is_set_aside() -> None:
    got = say(*brew(), ev("gravel", 6.0, 25.0), did=BREW_DID)
    aside = answer(got, {"line_holds": "no", "cartridge_changed": "no"})
    assert "less likely" in summary_lines(aside)[3] and "answered no" in summary_lines(aside)[3]


def test_numbers_have_no_more_digits_than_a_person_uses() -> None:
    hum = ev("mains_buzz", 3.0, 28.013, level_db=1.491, line_hz=100.0213)
    texts = " ".join(s for f in say(*brew(), hum, did=BREW_DID).findings for s in f.speaks_for)
    assert "about 1.5 dB" in texts and "about 100 Hz" in texts and "25.0 s" in texts
    assert not re.search(r"\d\.\d\d", texts)
    assert "motor running" in say(*(brew()[:1]), did=BREW_DID).because
