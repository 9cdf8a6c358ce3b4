"""Measure clips again whose measurements were made by an older version, or are damaged."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select

from listen.errors import LibraryError, UnreadableClip, UnusableClip
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.measure import NAMES_SHA256, measure_clip, measures_row, unpack_stretches, unpack_traces
from listen.library.values import now
from listen.library.vault import Vault

if TYPE_CHECKING:
    from listen.decode import DecodeWorker


def remeasure(
    database: Database,
    vault: Vault,
    *,
    worker: DecodeWorker | None = None,
    echo: Callable[[str], object] | None = None,
) -> tuple[int, tuple[str, ...]]:
    """Measure again what cannot be used as it is.

    Returns
    -------
    done : int
    refused : tuple of str
        Clips that could not be measured, and why.
    """
    wanted = _outdated(database)
    done, refused = 0, []
    for sha256, name in wanted:
        try:
            measured = measure_clip(vault.local(sha256), name=name, worker=worker)
        except (UnreadableClip, UnusableClip, LibraryError) as error:
            refused.append(f"{sha256[:12]}…: {error}")
            continue
        with database.writing() as connection:
            # It may have been deleted meanwhile.
            if connection.scalar(select(t.clips.c.sha256).where(t.clips.c.sha256 == sha256)) is None:
                continue
            connection.execute(delete(t.measures).where(t.measures.c.clip == sha256))
            connection.execute(insert(t.measures), measures_row(sha256, measured, now()))
        done += 1
        if echo is not None and done % 50 == 0:
            echo(f"{done} of {len(wanted)} clips")
    return done, tuple(refused)


def _outdated(database: Database) -> list[tuple[str, str]]:
    with database.reading() as connection:
        rows = connection.execute(
            select(t.clips.c.sha256, t.clips.c.name, t.measures)
            .outerjoin(t.measures)
            .order_by(t.clips.c.sha256)
        ).all()
    return [(row.sha256, row.name) for row in rows if not _usable(row)]


def _usable(row: object) -> bool:
    if getattr(row, "names_sha256", None) != NAMES_SHA256:
        return False
    try:
        unpack_stretches(row.stretches, row.n_stretches)  # type: ignore[attr-defined]
        unpack_traces(row.traces, row.n_cells)  # type: ignore[attr-defined]
    except LibraryError:
        return False
    return True
