"""Deletion on request: audio, measurements, labels and opinions go; a tombstone stays.

Conventions
-----------
The rows go in one transaction, which also notes the files that are to go and
leaves the tombstone; the files go after it. A kill in between leaves the note,
and the next program that opens the library for writing finishes the work.
Outcomes stay with the machine (what was repaired is the machine's history),
without their link to the clip.
"""

from __future__ import annotations

import csv
import os
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, delete, insert, select, union, update
from sqlalchemy.engine import Row

from listen.library import tables as t
from listen.library.clips import find
from listen.library.engine import Database
from listen.library.labels import named
from listen.library.records import Deletion
from listen.library.values import clean, from_json, now
from listen.library.vault import Vault, disk_errors

#: Beside the database: every tombstone once more, for the day the database is lost.
LEDGER = "deleted.csv"


def delete_clips(database: Database, vault: Vault, ids: list[str], *, by: str, why: str) -> Deletion:
    """Delete clips on request.

    Parameters
    ----------
    ids : list of str
        Hashes, or beginnings of them.
    by : str
        Who deletes.
    why : str
        Such as "asked by the owner"; kept with the tombstone, so no name belongs in it.

    Raises
    ------
    LibraryError
        A clip is not there: then none is deleted.
    """
    who = named(by)
    with database.writing() as connection:
        rows = {row.sha256: row for row in (find(connection, id) for id in ids)}
        stones = [(sha, now(), who, clean(why, longest=200)) for row in rows.values() for sha in _names(row)]
        for row in rows.values():
            _forget(connection, row)
        bury(connection, stones)
        shared = any(row.came_from == "exchange" or row.consent == "share" for row in rows.values())
        remember = [
            row.id
            for row in connection.execute(select(t.models.c.id, t.models.c.clips))
            if set(from_json(row.clips, [])) & set(rows)
        ]
    write_ledger(database, stones)
    removed = finish_removals(database, vault)
    _drop_older_copies(database)
    return Deletion(tuple(rows), removed, tuple(remember), shared)


def _names(row: Row) -> list[str]:
    return [row.sha256] + ([row.origin_sha256] if row.origin_sha256 else [])


def _forget(connection: Connection, row: Row) -> None:
    p = t.pictures.c
    files = {
        row.sha256,
        row.flac_sha256,
        *connection.scalars(select(p.sha256).where(p.clip == row.sha256)),
    }
    # What a customer sent is the same recording.
    connection.execute(delete(t.intake_files).where(t.intake_files.c.sha256 == row.sha256))
    connection.execute(update(t.clips).where(t.clips.c.before_clip == row.sha256).values(before_clip=None))
    connection.execute(update(t.outcomes).where(t.outcomes.c.clip == row.sha256).values(clip=None))
    for table in (t.labels, t.opinions, t.measures, t.pictures):
        connection.execute(delete(table).where(table.c.clip == row.sha256))
    connection.execute(delete(t.clips).where(t.clips.c.sha256 == row.sha256))
    note_removals(connection, files)


def note_removals(connection: Connection, files: set[str]) -> None:
    """Note files that are to go; those that some row still needs are spared when the time comes."""
    noted = set(connection.scalars(select(t.removals.c.sha256).where(t.removals.c.sha256.in_(files))))
    for sha256 in sorted(files - noted):
        connection.execute(insert(t.removals), {"sha256": sha256})


def bury(connection: Connection, stones: list[tuple[str, str, str, str]]) -> None:
    """Leave tombstones (hash, when, who, why), once each."""
    s = t.tombstones
    for sha256, at, who, why in stones:
        if connection.scalar(select(s.c.sha256).where(s.c.sha256 == sha256)) is None:
            connection.execute(insert(s), {"sha256": sha256, "deleted_at": at, "deleted_by": who, "why": why})


def needed_files(connection: Connection) -> set[str]:
    """Return every file of the vault that some row names."""
    c, f, m = t.clips.c, t.intake_files.c, t.models.c
    query = union(
        select(c.sha256),
        select(c.flac_sha256),
        select(f.sha256),
        select(t.pictures.c.sha256),
        select(m.manifest_sha256),
        select(m.arrays_sha256),
    )
    return set(connection.scalars(query))


def finish_removals(database: Database, vault: Vault) -> int:
    """Remove the files that deletions noted; return how many went."""
    with database.reading() as connection:
        if connection.scalar(select(t.removals.c.sha256).limit(1)) is None:
            return 0
    removed = 0
    with database.writing() as connection:
        due = set(connection.scalars(select(t.removals.c.sha256)))
        for sha256 in sorted(due - needed_files(connection)):
            vault.remove(sha256)
            removed += 1
        connection.execute(delete(t.removals))
    if database.embedded:
        # What was deleted also leaves the log of the database.
        with database.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql(
                "PRAGMA wal_checkpoint(TRUNCATE)"
            )
    return removed


def expired(connection: Connection, today: str | None = None) -> list[str]:
    """Return the clips whose time is over, by the day until which they may be kept."""
    day = today or datetime.now(UTC).strftime("%Y-%m-%d")
    c = t.clips.c
    return list(
        connection.scalars(
            select(c.sha256).where(c.keep_until.is_not(None), c.keep_until < day).order_by(c.sha256)
        )
    )


def write_ledger(database: Database, stones: list[tuple[str, str, str, str]]) -> None:
    """Add tombstones to the ledger beside the database and flush it."""
    path = database.place.home / LEDGER
    with disk_errors("The ledger of deletions"):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        new = not path.exists()
        with path.open("a", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            if new:
                writer.writerow(("sha256", "deleted_at", "deleted_by", "why"))
            writer.writerows(stones)
            file.flush()
            os.fsync(file.fileno())


def read_ledger(path: Path) -> list[tuple[str, str, str, str]]:
    """Return the tombstones of a ledger; none where there is no such file."""
    if not path.is_file():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if len(row) == 4 and len(row[0]) == 64]
    return [(row[0], row[1], row[2], row[3]) for row in rows]


def _drop_older_copies(database: Database) -> None:
    """Remove copies of the database from before a migration: they still hold what was deleted."""
    for path in database.place.home.glob("library.db.before-step-*"):
        path.unlink(missing_ok=True)
