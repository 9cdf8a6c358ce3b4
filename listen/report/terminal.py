"""Report → plain text for a terminal, 80 columns, the urgent things first.

Conventions
-----------
Colour is an extra: nothing is said by colour alone, and a file or pipe gets none.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any, TextIO

from listen.report import words
from listen.report.plain import plain_text
from listen.report.to_dict import to_dict
from listen.types import Report

WIDTH = 80
_COLOURS = {"fine": "32", "watch": "33", "service": "35", "stop": "1;37;41", "head": "1"}


def wants_colour(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Tell whether `stream` is a terminal that may be coloured (`NO_COLOR` and `TERM=dumb` say no)."""
    if environment.get("NO_COLOR") or environment.get("TERM") == "dumb":
        return False
    return bool(getattr(stream, "isatty", lambda: False)())


def render(report: Report, *, colour: bool = False, with_cautions: bool = True) -> str:
    """Write one report as text.

    Parameters
    ----------
    report : Report
    colour : bool
        Add terminal colours.
    with_cautions : bool
        End with the usual cautions (give False for all but the last of several clips).

    Returns
    -------
    str
        Lines of at most 80 characters, ending in a line break.
    """
    return "\n".join(_lines(to_dict(report), colour, with_cautions)) + "\n"


def render_short(report: Report, *, colour: bool = False) -> str:
    """Write level, what to do first, verdict and reason only: a few lines for a list of clips."""
    lines = list(_head(to_dict(report), colour))
    return "\n".join(lines) + "\n"


def cautions() -> str:
    """Write the usual cautions that stand once under every result."""
    return "".join(line + "\n" for sentence in words.CAUTIONS for line in _wrapped(sentence, "! "))


def _lines(report: dict[str, Any], colour: bool, with_cautions: bool) -> Iterator[str]:
    yield from _head(report, colour)
    yield from _wrapped(report["question"], "Question:  ")
    yield from _wrapped(report["retake"], "Record again:  ")
    if report["findings"]:
        yield ""
        yield _paint("What is unusual, and the next checks", "head", colour)
        for number, finding in enumerate(report["findings"], start=1):
            yield from _finding(number, finding)
    yield ""
    yield _paint("Heard", "head", colour)
    yield from _events(report["events"])
    if report["story"]:
        yield ""
        yield _paint("What the machine was doing", "head", colour)
        for span in report["story"]:
            when = f"{words.clock(span['start_s'])} – {words.clock(span['end_s'])}"
            source = words.SOURCE_WORDS[span["source"]]
            if span["rests_on"]:
                source += f"; rests on {span['rests_on']}"
            yield from _wrapped(f"{words.state_words(span['state'])} ({source})", f"  {when:<18}")
    if report["expected"]:
        yield ""
        yield _paint("Expected", "head", colour)
        for item in report["expected"]:
            yield from _expected(item)
    if report["quality"]["limits"]:
        yield ""
        yield _paint("What this clip cannot carry", "head", colour)
        for limit in report["quality"]["limits"]:
            yield from _wrapped(words.limit_words(limit), "  - ")
    if with_cautions:
        yield ""
        yield cautions().rstrip("\n")


def _head(report: dict[str, Any], colour: bool) -> Iterator[str]:
    clip = report["clip"]
    facts = f"{words.clock(clip['duration_s'] or 0.0)}  {clip['sample_rate_hz'] / 1000:g} kHz"
    name = plain_text(clip["name"], longest=WIDTH - len(facts) - 2) or "(no name)"
    yield f"{name}{' ' * (WIDTH - len(name) - len(facts))}{facts}"
    yield "-" * WIDTH
    level = report["level"]
    yield _paint(f"{level.upper()}: {words.LEVEL_WORDS[level]}", level, colour)
    yield from _wrapped(report["say_first"], "Do first:  ")
    yield from _wrapped(words.VERDICT_WORDS[report["verdict"]], "Verdict:  ")
    yield from _wrapped(report["because"], "Because:  ")


def _events(events: list[dict[str, Any]]) -> Iterator[str]:
    if not events:
        yield "  nothing that the ear can name"
    for event in events:
        start = ("…" if event["open_start"] else "") + words.clock(event["onset_s"])
        if event["offset_s"] - event["onset_s"] < 0.2:
            when = start
        else:
            when = f"{start} – {words.clock(event['offset_s'])}{'…' if event['open_end'] else ''}"
        text = f"{words.sound_words(event['sound'])}, {words.sure_words(event['probability'])}"
        measures = words.event_measures(event)
        yield from _wrapped(f"{text} ({measures})" if measures else text, f"  {when:<18}")


def _expected(item: dict[str, Any]) -> Iterator[str]:
    mark = {"heard": "[+]", "missing": "[MISSING]", "cannot_tell": "[?]"}[item["status"]]
    what = item["text"] or words.sound_words(item["sound"])
    yield from _wrapped(f"{words.state_words(item['state'])}: {what}", f"  {mark:<10} ")


def _finding(number: int, finding: dict[str, Any]) -> Iterator[str]:
    strength = words.STRENGTH_WORDS[finding["strength"]]
    yield from _wrapped(f"{finding['symptom']} [{finding['level']}, {strength}]", f"{number}. ")
    for sign in finding["speaks_for"]:
        yield from _wrapped(sign, "     for:      ")
    for sign in finding["speaks_against"]:
        yield from _wrapped(sign, "     against:  ")
    causes = sorted(finding["causes"], key=lambda cause: cause["order"])
    for place, cause in enumerate(causes):
        lead = "likely:   " if place == 0 else "aside:    " if cause["why_not"] else "then:     "
        why = f" ({cause['why_not']})" if cause["why_not"] else ""
        yield from _wrapped(cause["text"] + why, f"     {lead}")
    for done in finding["answered"]:
        yield from _wrapped(f"{done['text']} {done['answer']}. {done['means']}", "     answered: ")
    needs = None
    for place, check in enumerate(finding["checks"], start=1):
        if check["needs"] != needs:
            needs = check["needs"]
            yield from _wrapped(words.NEEDS_WORDS[needs].upper(), "   ")
        who = "" if check["who"] == "customer" else " (technician)"
        name = f" [{check['id']}]" if check["id"] else ""
        yield from _wrapped(check["text"] + who + name, f"     {place}. ")
        for caution in check["cautions"]:
            yield from _wrapped(caution, "        ! ")
        yield from _wrapped(check["if_yes"], "        yes: ")
        yield from _wrapped(check["if_no"], "        no:  ")


def _wrapped(text: str | None, lead: str) -> list[str]:
    """Wrap `text` behind `lead`, later lines indented under the text; nothing for no text."""
    text = plain_text(text or "")
    if not text:
        return []
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))


def _paint(text: str, colour_of: str, colour: bool) -> str:
    return f"\x1b[{_COLOURS[colour_of]}m{text}\x1b[0m" if colour else text
