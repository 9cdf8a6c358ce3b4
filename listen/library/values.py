"""Plain values on their way in and out of the tables: texts, moments, JSON, hashes.

Conventions
-----------
A moment is text in ISO 8601, UTC, to the second (`2026-03-01T09:30:00Z`): the
same on every database, and in order when sorted. JSON is written with sorted
keys and no blanks, so that the same value gives the same bytes.
"""

from __future__ import annotations

import json
import re
import unicodedata
from datetime import UTC, date, datetime
from typing import Any

from listen.errors import LibraryError

LONGEST_TEXT = 20_000
_HASH = re.compile(r"[0-9a-f]{64}")
_KEY = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")


def now() -> str:
    """Return this moment, UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def moment(value: str | datetime | date | None, what: str) -> str | None:
    """Return a moment or a day in the form the tables keep; None stays None.

    Raises
    ------
    LibraryError
        When it is no date.

    Examples
    --------
    >>> moment("2026-03-01 10:30+01:00", "recorded")
    '2026-03-01T09:30:00Z'
    >>> moment("2026-03-01", "recorded")
    '2026-03-01'
    """
    if value is None or value == "":
        return None
    if isinstance(value, datetime):
        return _utc(value)
    if isinstance(value, date):
        return value.isoformat()
    text = str(value).strip()
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            return date.fromisoformat(text).isoformat()
        return _utc(datetime.fromisoformat(text))
    except ValueError as error:
        raise LibraryError(
            f"{what}: {text[:40]!r} is no date; write it as 2026-03-01 or 2026-03-01 09:30."
        ) from error


def _utc(value: datetime) -> str:
    # A time without a zone was read off this computer's clock.
    return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def clean(text: object, *, longest: int = LONGEST_TEXT) -> str:
    """Return a person's text as it can be stored anywhere: no control characters but line ends.

    Examples
    --------
    >>> clean("hiss\\x00 at \\x1b[1mthe valve")
    'hiss at [1mthe valve'
    """
    kept = "".join(
        c for c in str(text).replace("\r\n", "\n") if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs")
    )
    return kept.strip()[:longest]


def key_of(text: str, what: str = "A machine") -> str:
    """Check a short name that stands in links and file names.

    Raises
    ------
    LibraryError
        When it has other characters than small letters, digits, dot, dash and underline.
    """
    if not _KEY.fullmatch(text):
        raise LibraryError(
            f"{what} is named by 1 to 64 small letters, digits, dots, dashes or underlines, not {text[:70]!r}."
        )
    return text


def slug_of(name: str) -> str:
    """Make a short name from a spoken one.

    Examples
    --------
    >>> slug_of("Café Löwe, front bar")
    'cafe-lowe-front-bar'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48].strip("-") or "machine"


def is_hash(text: str) -> bool:
    """Tell whether a text is a SHA-256 in small hexadecimal."""
    return bool(_HASH.fullmatch(text))


def to_json(value: Any) -> str:
    """Write a value as canonical JSON."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def from_json(text: str | None, empty: Any) -> Any:
    """Read a value back; nothing stored gives `empty`."""
    return json.loads(text) if text else empty
