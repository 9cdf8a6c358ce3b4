"""Find danger words in what a person writes; in doubt they stop.

A word counts as denied only where a plain negation stands right before it
("no smoke", "without any smell") and the clause ends or goes on with
and/or/but after it. Everything else counts, also 'no longer', 'not sure if',
'it is fine now': what has happened once is not undone by going quiet.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

_DENIED_BEFORE = re.compile(
    r"(?:^|[^\w'])(?:no|not|without|neither|nor|never|isn'?t|wasn'?t|doesn'?t|didn'?t|don'?t)\s+"
    r"(?:(?:any|a|an|the|sign|signs|trace|of|visible|see|smell|hear|is|any kind|been|at all)\s+){0,3}$"
)
_DOUBT_BEFORE = re.compile(
    r"(?:not|n'?t)\s+(?:sure|only|just|know|certain|clear)|no\s+(?:idea|doubt|longer|more|wonder|lack)|"
    r"\b(?:not|never|no)\s+(?:(?!and\b|or\b|nor\b)\w+\s+){0,8}(?:not|never|no|without)\s+(?:\w+\s+)?$"
)
_DENIED_AFTER = re.compile(
    r"^\s*(?:$|[.,;!)]|(?:and|or|nor|but|at all|anywhere|here|either|coming|seen|heard)\b)"
)
_OR_LIST = re.compile(
    r"(?:^|[^\w'])(?:no|without|neither)\s+(?:any\s+)?\w+(?:\s*,\s*\w+)*\s*,?"
    r"\s+(?:or|and no|nor)\s+(?:any\s+)?$"
)
_CLAUSE = re.compile(r"[.;!?\n]+|\bbut\b|\bhowever\b|\bthough\b|\bexcept\b")


@lru_cache(maxsize=512)
def _pattern(word: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![\w'])(?:{word})")


def mentions(said: str, words: Iterable[str]) -> str | None:
    """Return the first phrase of `said` that matches and is not plainly denied, None if none is.

    Examples
    --------
    >>> mentions("No smoke, but it smells of burning", ["smok\\\\w+", "smell\\\\w*"])
    'smells'
    >>> mentions("no smoke", ["smok\\\\w+"])
    """
    text = re.sub(r"[^\S\n]+", " ", said.lower().replace("\u2019", "'").replace("-", " "))
    for clause in _CLAUSE.split(text):
        for word in words:
            for match in _pattern(word).finditer(clause):
                if not _denied(clause[: match.start()], clause[match.end() :]):
                    return match.group(0)
    return None


def tells(said: str, words: Iterable[str]) -> str | None:
    """Return the first phrase that matches, across commas and 'but', within one sentence; None if none does.

    For what a person describes ("the pump starts, but no water"); dangers are
    looked for by :func:`mentions`. A plain denial before the phrase still counts.

    Examples
    --------
    >>> tells("The pump starts, but no water", ["pump \\w+ but no water"])
    'pump starts but no water'
    """
    text = re.sub(r"[^\S\n]+", " ", said.lower().replace("\u2019", "'").replace("-", " "))
    for sentence in re.split(r"[.;!?\n]+", text.replace(",", "").replace(":", "")):
        for word in words:
            for match in _pattern(word).finditer(sentence):
                before = _CLAUSE.split(sentence[: match.start()])[-1]
                if not _denied(before, sentence[match.end() :]):
                    return match.group(0)
    return None


def _denied(before: str, after: str) -> bool:
    if _DOUBT_BEFORE.search(before) or not _DENIED_AFTER.search(after):
        return False
    return bool(_DENIED_BEFORE.search(before) or _OR_LIST.search(before))


def contains(said: str, phrases: Iterable[str]) -> bool:
    """Tell whether any plain phrase stands in the text."""
    text = " ".join(said.lower().split())
    return any(phrase in text for phrase in phrases)
