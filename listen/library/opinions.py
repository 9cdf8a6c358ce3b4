"""What the tool said of a clip, each time it was asked: kept beside labels and outcomes, never as one of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.clips import find
from listen.library.engine import Database
from listen.library.records import OpinionRecord
from listen.library.values import from_json, now, to_json
from listen.report.to_dict import SCHEMA_ID, to_dict
from listen.types import Report


def add_opinion(database: Database, clip: str, report: Report | Mapping[str, Any]) -> OpinionRecord:
    """Keep a report (or its JSON form) as the tool's opinion on a clip.

    Raises
    ------
    LibraryError
        When the report is about other bytes.
    """
    data = to_dict(report) if isinstance(report, Report) else dict(report)
    try:
        about, model = data["clip"]["sha256"], data["model"]
        if data["schema"] != SCHEMA_ID:
            raise KeyError("schema")
    except (KeyError, TypeError) as error:
        raise LibraryError(f"An opinion is a report in the form {SCHEMA_ID}; this one is not.") from error
    with database.writing() as connection:
        row = find(connection, clip)
        if about != row.sha256:
            raise LibraryError(
                f"The report is about another recording ({about[:12]}…) than clip {row.sha256[:12]}…."
            )
        values = {
            "clip": row.sha256, "made_at": now(), "model_version": str(model["version"]), "model_sha256": str(model["sha256"]),
            "verdict": data["verdict"], "level": data["level"], "report": to_json(data),
        }  # fmt: skip
        return _record(connection.execute(insert(t.opinions).returning(t.opinions), values).one())


def opinions_of(database: Database, clip: str) -> tuple[OpinionRecord, ...]:
    """Return all opinions on a clip, the latest first."""
    with database.reading() as connection:
        sha256 = find(connection, clip).sha256
        query = select(t.opinions).where(t.opinions.c.clip == sha256).order_by(t.opinions.c.id.desc())
        return tuple(_record(row) for row in connection.execute(query))


def latest_opinions(connection: Connection, clips: list[str] | None = None) -> dict[str, OpinionRecord]:
    """Return the latest opinion on each clip (on all of them when none are named)."""
    newest = select(func.max(t.opinions.c.id)).group_by(t.opinions.c.clip)
    query = select(t.opinions).where(t.opinions.c.id.in_(newest))
    if clips is not None:
        query = query.where(t.opinions.c.clip.in_(clips))
    return {row.clip: _record(row) for row in connection.execute(query)}


def _record(row: Row) -> OpinionRecord:
    return OpinionRecord(
        row.id,
        row.clip,
        row.made_at,
        row.model_version,
        row.model_sha256,
        row.verdict,
        row.level,
        from_json(row.report, {}),
    )
