"""Clips in and out of the tables: checks on what a person says of them, rows to records."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Connection, func, select
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.records import CONSENTS, ClipRecord
from listen.library.values import clean, from_json, is_hash, moment, to_json
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, GAUGES, STATES

_SHORTEST = 6


def story_values(story: Iterable[StoryMark | Sequence[Any]]) -> str:
    """Check a story (marks, or pairs of seconds and word) and write it as JSON."""
    marks = []
    for item in story:
        at_s, word = (item.at_s, item.word) if isinstance(item, StoryMark) else (item[0], item[1])
        if word not in STATES and word not in ACTIONS:
            raise LibraryError(
                f"{str(word)[:40]!r} is neither a state nor an action: see `listen hear --help`."
            )
        if not (isinstance(at_s, int | float) and math.isfinite(at_s) and 0 <= at_s < 1e6):
            raise LibraryError(
                f"A mark of the story stands at {at_s!r}: give seconds from the start of the clip."
            )
        marks.append([round(float(at_s), 3), str(word)])
    return to_json(sorted(marks))


def gauge_values(gauges: Mapping[str, float] | None) -> str:
    """Check gauge readings and write them as JSON."""
    out = {}
    for name, bar in (gauges or {}).items():
        if name not in GAUGES:
            raise LibraryError(f"There is no gauge {str(name)[:30]!r}: name one of {', '.join(GAUGES)}.")
        if not (isinstance(bar, int | float) and math.isfinite(bar) and -1.0 <= bar <= 40.0):
            raise LibraryError(f"The {name} gauge cannot read {bar!r}: give bar above atmosphere.")
        out[name] = round(float(bar), 3)
    return to_json(out)


def word_values(words: Mapping[str, Any] | None, what: str) -> str:
    """Check a flat mapping of short texts, numbers and yes/no, and write it as JSON."""
    out: dict[str, Any] = {}
    for key, value in (words or {}).items():
        if isinstance(value, str):
            value = clean(value, longest=500)
        elif isinstance(value, float) and not math.isfinite(value):
            value = None
        elif not isinstance(value, bool | int | float | None):
            raise LibraryError(f"{what}: {str(key)[:40]!r} must be a text, a number, or yes or no.")
        out[clean(key, longest=60)] = value
    return to_json(out)


def consent_value(consent: str) -> str:
    """Check a word of CONSENTS."""
    if consent not in CONSENTS:
        raise LibraryError(f"Consent is one of {', '.join(CONSENTS)}, not {str(consent)[:30]!r}.")
    return consent


def day_value(day: str | date | None) -> str | None:
    """Check the day until which a clip may be kept."""
    value = moment(day, "keep until")
    return value[:10] if value else None


def find(connection: Connection, id: str) -> Row:
    """Return the row of a clip by its hash, or by the beginning of it.

    Raises
    ------
    LibraryError
        None begins so, several do, or it was deleted on request.
    """
    wanted = id.strip().lower().rstrip("…")
    if len(wanted) < _SHORTEST or not is_hash(wanted.ljust(64, "0")):
        raise LibraryError(f"A clip is named by at least {_SHORTEST} signs of its hash, not {id[:70]!r}.")
    rows = connection.execute(
        select(t.clips).where(t.clips.c.sha256.like(f"{wanted}%")).order_by(t.clips.c.sha256).limit(2)
    ).all()
    if len(rows) > 1:
        raise LibraryError(f"Several clips begin with {wanted!r}: give more of the hash.")
    if not rows:
        gone = connection.scalar(
            select(t.tombstones.c.deleted_at).where(t.tombstones.c.sha256.like(f"{wanted}%"))
        )
        if gone:
            raise LibraryError(f"The clip {wanted[:12]}… was deleted on request on {gone[:10]}.")
        raise LibraryError(f"There is no clip {wanted[:12]!r} in the library: see `listen library clips`.")
    return rows[0]


def listed(
    connection: Connection, *, machine: str | None = None, fold: str | None = None, good: bool | None = None,
    complete: bool | None = None, search: str = "", limit: int | None = None,
) -> tuple[ClipRecord, ...]:  # fmt: skip
    """Return clips, the latest first."""
    c = t.clips.c
    query = select(t.clips).order_by(func.coalesce(c.recorded_at, c.added_at).desc(), c.sha256)
    if machine is not None:
        query = query.where(c.machine == machine)
    if fold is not None:
        query = query.where(c.fold == fold)
    for wanted, column in ((good, c.good_at), (complete, c.complete_at)):
        if wanted is not None:
            query = query.where(column.is_not(None) if wanted else column.is_(None))
    for word in search.lower().split()[:8]:
        like = "%" + word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        query = query.where(
            func.lower(c.name + " " + c.said + " " + c.ticket + " " + func.coalesce(c.machine, "")).like(
                like, escape="\\"
            )
        )
    if limit is not None:
        query = query.limit(limit)
    return tuple(record(row) for row in connection.execute(query))


def record(row: Row, *, was_known: bool = False) -> ClipRecord:
    """Turn a row of `clips` into a record."""
    return ClipRecord(
        sha256=row.sha256, machine=row.machine, name=row.name, size_bytes=row.size_bytes, container=row.container,
        codec=row.codec, rate_hz=row.rate_hz, channels=row.channels, duration_s=row.duration_s,
        band_hz=(row.band_low_hz, row.band_high_hz), flac_sha256=row.flac_sha256,
        story=tuple(StoryMark(at_s, word) for at_s, word in from_json(row.story, [])), gauges=from_json(row.gauges, {}),
        said=row.said, answers=from_json(row.answers, {}), capture=from_json(row.capture, {}), recorded_at=row.recorded_at,
        added_at=row.added_at, added_by=row.added_by, consent=row.consent, consent_by=row.consent_by,
        keep_until=row.keep_until, ticket=row.ticket, good_by=row.good_by, good_at=row.good_at, complete_by=row.complete_by,
        complete_at=row.complete_at, came_from=row.came_from, origin_sha256=row.origin_sha256, before_clip=row.before_clip,
        fold=row.fold, was_known=was_known,
    )  # fmt: skip
