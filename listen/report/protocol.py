"""Recording protocol → plain text of 80 columns, or one printable HTML page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from listen.bench.protocol import Protocol, Step
from listen.report import words
from listen.report.plain import plain_text

WIDTH = 80
WHO_WORDS: dict[str, str] = {"anyone": "anyone of the shop", "technician": "a technician only"}
_TEMPLATES = Path(__file__).with_name("templates")


def length_words(seconds: int) -> str:
    """Say how long a recording is.

    >>> length_words(45), length_words(60), length_words(180)
    ('45 seconds', '1 minute', '3 minutes')
    """
    if seconds >= 60 and seconds % 60 == 0:
        return f"{seconds // 60} minute{'s' if seconds > 60 else ''}"
    return f"{seconds} seconds"


def render_text(protocol: Protocol) -> str:
    """Write the protocol for a terminal, the questions first.

    Returns
    -------
    str
        Lines of at most 80 characters, ending in a line break.
    """
    return "\n".join(_lines(protocol)) + "\n"


def _lines(protocol: Protocol) -> Iterator[str]:
    yield protocol.title
    yield "-" * WIDTH
    yield from _wrapped(protocol.purpose, "")
    minutes = round(protocol.recorded_s / 60)
    yield from _wrapped(f"{protocol.machines} machines, {minutes} minutes of sound in all.", "")
    yield ""
    yield "FIRST, FOR EVERY MACHINE: ANSWER THESE"
    yield from _wrapped(
        "Any yes, or an answer that nobody knows: do not record this machine. At a yes, do what stands below it.",
        "",
    )
    for number, question in enumerate(protocol.gate, start=1):
        yield from _wrapped(question.text, f" {number}. ")
        for sentence in question.do:
            yield from _wrapped(sentence, "      yes: ")
    yield ""
    yield "BEFORE YOU START"
    for sentence in protocol.before:
        yield from _wrapped(sentence, "  - ")
    yield ""
    yield "END ANY RECORDING AT ONCE AT"
    for sign in protocol.always_stop_if:
        yield from _wrapped(sign, "  - ")
    for sentence in (*protocol.stop_first, protocol.leave_it):
        yield from _wrapped(sentence, "  ! ")
    for number, step in enumerate(protocol.steps, start=1):
        yield ""
        yield from _step(number, step)
    yield ""
    for sentence in words.CAUTIONS:
        yield from _wrapped(sentence, "! ")


def _step(number: int, step: Step) -> Iterator[str]:
    yield from _wrapped(f"{step.title.upper()}  [{step.slug}]", f"{number}. ")
    facts = (
        f"{words.state_words(step.state)}; record {length_words(step.seconds)}; "
        f"phone at {step.distance_cm} cm; {WHO_WORDS[step.who]}"
    )
    yield from _wrapped(facts, "   ")
    if step.skip_if:
        yield from _wrapped(step.skip_if, "   ")
    for place, sentence in enumerate(step.do, start=1):
        yield from _wrapped(sentence, f"   {place}) ")
    yield from _wrapped(step.learns, "   learns: ")
    for sign in step.stop_if:
        yield from _wrapped(sign, "   end at: ")
    for caution in step.cautions:
        yield from _wrapped(caution, "   ! ")


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(
        plain_text(text),
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render_html(protocol: Protocol) -> str:
    """Write the protocol as one HTML document to print: no script, nothing fetched, all text escaped."""
    template = _environment().get_template("protocol.html.j2")
    return template.render(protocol=protocol, words=words, length_words=length_words, who_words=WHO_WORDS)
