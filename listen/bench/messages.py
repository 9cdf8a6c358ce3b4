"""A result in words: five lines for a technician, a message for the customer, the question to read aloud.

The sentences are data (`messages.toml`); what is joined here comes from the
findings. A stop is always said first, in full, and asks for nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from listen.bench.answers import next_check
from listen.bench.entries import Danger
from listen.bench.judgement import Judgement
from listen.bench.knowledge import load_knowledge
from listen.bench.phrases import sound_words
from listen.bench.tables import read_toml
from listen.errors import KnowledgeError
from listen.resources import knowledge as shipped_folder
from listen.types import Check, Finding, Report

FILE = "messages.toml"
_WHO = {"customer": "anyone", "technician": "technician"}
#: A customer is asked to look at no more than this.
_LOOKS = 2


@dataclass(frozen=True, slots=True)
class Bring:
    """Spare parts and tools for a visit, the most likely first."""

    parts: tuple[str, ...]
    tools: tuple[str, ...]


@lru_cache(maxsize=1)
def message_words() -> dict[str, dict[str, str]]:
    """Return the sentences of messages, by reader and slug."""
    table = read_toml(shipped_folder() / FILE, FILE, KnowledgeError)
    words = {name: table.table(name).rest() for name in ("customer", "technician")}
    table.done()
    return words


def summary_lines(result: Report | Judgement) -> tuple[str, ...]:
    """Return five lines for a technician: level, heard, missing, likely, next.

    Parameters
    ----------
    result : Report or Judgement

    Returns
    -------
    tuple of str
        Exactly five.
    """
    words = message_words()["technician"]
    first = result.findings[0] if result.findings else None
    head = f"{words[result.level]}: {first.symptom if first else result.because}"
    if result.level == "stop" and result.say_first:
        head = f"{words['stop']}: {result.say_first}"
    heard = "; ".join(first.speaks_for[:2]) if first else result.because
    check = next_check(result)
    return (
        head,
        f"Heard or told: {heard.rstrip('.')}.",
        f"Missing: {_missing(result)}",
        f"Likely: {_likely(first)}",
        f"Next: {_said(check) if check else result.question or words['no_check']}",
    )


def _missing(result: Report | Judgement) -> str:
    knowledge = load_knowledge()
    missing = [
        f"{sound_words(e.sound)} ({knowledge.state_words[e.state]})"
        for e in result.expected
        if e.status == "missing"
    ]
    unsure = sum(e.status == "cannot_tell" for e in result.expected)
    text = (
        ", ".join(dict.fromkeys(missing)) + "."
        if missing
        else message_words()["technician"]["nothing_missing"]
    )
    return f"{text} The clip cannot tell of {unsure} more." if unsure else text


def _likely(finding: Finding | None) -> str:
    if finding is None or not finding.causes:
        return message_words()["technician"]["no_finding"]
    open_causes = [c for c in finding.causes if c.standing != "unlikely"]
    text = "; then ".join(f"{c.text} ({c.part})" if c.part else c.text for c in open_causes[:2])
    aside = [c for c in finding.causes if c.standing == "unlikely"]
    if aside:
        text += f"; less likely {aside[0].text}, because of: {aside[0].speaks_against[0].rstrip('.?')}"
    return text + "."


def _said(check: Check) -> str:
    return f"{check.text} ({_WHO[check.who]})"


def customer_message(result: Report | Judgement, *, long: bool = False) -> str:
    """Return a message for the customer: plain, without blame, what to do and not to do now.

    Parameters
    ----------
    result : Report or Judgement
    long : bool
        Add what they may look at, and what will be brought.

    Returns
    -------
    str
        Sentences; in the long form paragraphs, parted by an empty line.
    """
    words = message_words()["customer"]
    plain = _plain(result)
    if result.level == "stop":
        first = [result.say_first or plain, words["stop"]]
        rest = [words["not_now"], words["stop_call"]]
        return _joined([first, rest, *([_brought(result)] if long else [])], long)
    if not result.findings:
        told = [words["fine"]] if result.verdict == "normal" else [words["cannot_tell"]]
        return _joined(
            [[words["greeting"], *told], _asked(result), *([[words["at_once"]]] if long else [])], long
        )
    first = [words["greeting"], plain]
    if result.findings[0].level != "fine":
        if result.verdict == "cannot_tell":
            first.append(words["cannot_tell"])
        first.append(words.get(result.level, words["watch"]))
        first.extend([result.say_first] if result.say_first else [])
    now = [words["at_once"], words["not_now"]]
    more = [_looks(result), _brought(result)] if long else []
    return _joined([first, _asked(result), now, *more], long)


def _joined(paragraphs: list[list[str]], long: bool) -> str:
    kept = [" ".join(p) for p in paragraphs if p]
    return ("\n\n" if long else " ").join(kept)


def _plain(result: Report | Judgement) -> str:
    if not result.findings or result.findings[0].unproven:
        return result.because
    owner = load_knowledge().owner(result.findings[0])
    if owner is None or isinstance(owner, Danger):
        return result.findings[0].symptom
    return owner.plain


def _asked(result: Report | Judgement) -> list[str]:
    words = message_words()["customer"]
    if result.level == "stop":
        return []
    if result.question:
        return [words["question"], result.question]
    return [words["again"], result.retake] if result.retake else []


def _looks(result: Report | Judgement) -> list[str]:
    """Return what a customer may look at: nothing that runs the machine, nothing that is touched."""
    running = {e.check.id for _, e in load_knowledge().entries() if e.runs_machine}
    checks = [
        c
        for f in result.findings
        for c in f.checks
        if c.who == "customer" and c.needs == "look" and c.id not in running
    ][:_LOOKS]
    if not checks:
        return []
    cautions = dict.fromkeys(caution for c in checks for caution in c.cautions)
    return [message_words()["customer"]["look"], *(c.text for c in checks), *cautions]


def _brought(result: Report | Judgement) -> list[str]:
    parts = to_bring(result).parts[:3]
    return [f"{message_words()['customer']['bring']} {', '.join(parts)}."] if parts else []


def read_aloud(result: Report | Judgement) -> str:
    """Return what to read aloud on the telephone now: the stop, else the question, else the next look.

    A stop is read in full, and nothing is asked before it has been done.
    """
    if result.level == "stop":
        return result.say_first or message_words()["customer"]["stop"]
    if result.question:
        return result.question
    looks = _looks(result)
    if len(looks) > 1:
        return looks[1]
    return result.retake or load_knowledge().settings.default_question


def to_bring(result: Report | Judgement) -> Bring:
    """Return spare parts and tools for the causes that stand, those of the first finding first."""
    by_words = {part.words: part for part in load_knowledge().parts.values()}
    parts: dict[str, None] = {}
    tools: dict[str, None] = {}
    for finding in result.findings:
        for cause in finding.causes:
            part = by_words.get(cause.part)
            if part is not None and cause.standing != "unlikely":
                parts |= dict.fromkeys(part.bring)
                tools |= dict.fromkeys(part.tools)
    return Bring(tuple(parts), tuple(tools))
