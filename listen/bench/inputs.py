"""Read what a person types: `0:03 brew_on`, `boiler=1.1` and `tray_wet=yes`."""

from __future__ import annotations

import re

from listen.errors import BadParameter
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, GAUGES, STATES

_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,6}):([0-5]?\d(?:[.,]\d{1,6})?)", re.ASCII)
_SECONDS = re.compile(r"\d{1,6}(?:[.,]\d{1,6})?", re.ASCII)
_BAR = re.compile(r"([+-]?\d{1,4}(?:[.,]\d{1,6})?)\s*(?:bar)?", re.ASCII | re.IGNORECASE)
_GAUGE_RANGE_BAR = (-1.0, 30.0)


def parse_did(text: str) -> StoryMark:
    """Read one mark of the story, ``M:SS WORD`` (or ``H:MM:SS``, or plain seconds).

    Raises
    ------
    BadParameter
        When the time or the word is not one that is known.

    Examples
    --------
    >>> parse_did("0:03 brew_on")
    StoryMark(at_s=3.0, word='brew_on')
    """
    parts = text.split()
    if len(parts) != 2:
        raise BadParameter(f"{text!r} is not a mark: give a time and one word, for example '0:03 brew_on'.")
    clock, word = parts
    word = word.lower().replace("-", "_")
    if word not in STATES and word not in ACTIONS:
        known = ", ".join((*ACTIONS, *STATES))
        raise BadParameter(f"{word!r} is neither a state nor an action; known words: {known}.")
    if match := _CLOCK.fullmatch(clock):
        hours, minutes, seconds = match.groups()
        at_s = int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds.replace(",", "."))
    elif _SECONDS.fullmatch(clock):
        at_s = float(clock.replace(",", "."))
    else:
        raise BadParameter(
            f"{clock!r} is not a time in the clip: write minutes and seconds, for example 0:03."
        )
    return StoryMark(at_s, word)


def parse_gauge(text: str) -> tuple[str, float]:
    """Read one gauge, ``NAME=BAR``, bar above atmosphere.

    Raises
    ------
    BadParameter
        When the gauge is not known or the reading is not a plausible number of bar.

    Examples
    --------
    >>> parse_gauge("boiler=1.1")
    ('boiler', 1.1)
    """
    name, sign, reading = text.partition("=")
    name = name.strip().lower()
    if not sign or name not in GAUGES:
        raise BadParameter(
            f"{text!r} is not a gauge reading: write one of {', '.join(GAUGES)}, for example 'boiler=1.1'."
        )
    match = _BAR.fullmatch(reading.strip())
    if match is None:
        raise BadParameter(
            f"{reading.strip()!r} is not a number of bar: write '{name}=1.1' (14.5 psi are 1 bar)."
        )
    bar = float(match.group(1).replace(",", "."))
    low, high = _GAUGE_RANGE_BAR
    if not low <= bar <= high:
        raise BadParameter(
            f"{name} at {bar:g} bar cannot be read on such a gauge: give bar, {low:g} to {high:g}."
        )
    return name, bar


def parse_answer(text: str) -> tuple[str, str]:
    """Read one answer, ``CHECK=yes``, ``no`` or ``unknown``.

    Raises
    ------
    BadParameter
        When it is not of that form; whether there is such a check is not looked at here.

    Examples
    --------
    >>> parse_answer("tray_wet=yes")
    ('tray_wet', 'yes')
    """
    name, sign, word = text.partition("=")
    name = name.strip().lower().replace("-", "_")
    word = {"y": "yes", "n": "no", "?": "unknown"}.get(word.strip().lower(), word.strip().lower())
    if not sign or not name or word not in ("yes", "no", "unknown"):
        raise BadParameter(
            f"{text!r} is not an answer: write the name of a check and yes, no or unknown, "
            "for example 'tray_wet=yes'."
        )
    return name, word
