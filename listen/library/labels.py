"""Labels: what a person hears in a span. Nothing is overwritten; the history stays."""

from __future__ import annotations

import math
from typing import Any

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.clips import find
from listen.library.engine import Database
from listen.library.records import LabelRecord
from listen.library.values import clean, now
from listen.vocabulary import SOUNDS


class Labels:
    """The labels of one library."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        clip: str,
        sound: str,
        onset_s: float,
        offset_s: float,
        *,
        by: str,
        present: bool = True,
        note: str = "",
    ) -> LabelRecord:
        """Say that a sound is in a span of a clip, or with `present` False that it is not.

        Parameters
        ----------
        clip : str
            Hash of the clip, or the beginning of it.
        sound : str
            A word of :data:`listen.vocabulary.SOUNDS`.
        onset_s, offset_s : float
            Span in s from the start of the clip.
        by : str
            Who hears it so.

        Raises
        ------
        LibraryError
            No such clip, no such word, a span outside the clip, or nobody named.
        """
        with self._database.writing() as connection:
            return _insert(
                connection, find(connection, clip), sound, onset_s, offset_s, by, present, note, None
            )

    def correct(
        self, label: int, *, by: str, sound: str | None = None, onset_s: float | None = None,
        offset_s: float | None = None, present: bool | None = None, note: str = "",
    ) -> LabelRecord:  # fmt: skip
        """Put a new label in the place of an older one, which stays in the history."""
        with self._database.writing() as connection:
            old = _current(connection, label)
            _withdraw(connection, label, by)
            return _insert(
                connection, find(connection, old.clip), sound or old.sound, old.onset_s if onset_s is None else onset_s,
                old.offset_s if offset_s is None else offset_s, by, old.present if present is None else present, note, label,
            )  # fmt: skip

    def withdraw(self, label: int, *, by: str) -> None:
        """Take a label back; it stays in the history."""
        with self._database.writing() as connection:
            _current(connection, label)
            _withdraw(connection, label, by)

    def of(self, clip: str, *, history: bool = False) -> tuple[LabelRecord, ...]:
        """Return a clip's labels by onset; with `history` also those that were withdrawn, in order of making."""
        with self._database.reading() as connection:
            return labels_of(connection, find(connection, clip).sha256, history=history)


def labels_of(connection: Connection, sha256: str, *, history: bool = False) -> tuple[LabelRecord, ...]:
    """Return a clip's labels on an open connection."""
    c = t.labels.c
    query = select(t.labels).where(c.clip == sha256)
    query = (
        query.order_by(c.id) if history else query.where(c.withdrawn_at.is_(None)).order_by(c.onset_s, c.id)
    )
    return tuple(label_record(row) for row in connection.execute(query))


def label_record(row: Row) -> LabelRecord:
    """Turn a row of `labels` into a record."""
    return LabelRecord(
        row.id, row.clip, row.sound, row.onset_s, row.offset_s, bool(row.present), row.author, row.made_at, row.replaces,
        row.withdrawn_at, row.withdrawn_by, row.note,
    )  # fmt: skip


def named(by: str) -> str:
    """Check that somebody stands behind a statement."""
    who = clean(by, longest=80)
    if not who:
        raise LibraryError(
            "Say who says so: a label, an outcome or a consent without a name cannot be asked back."
        )
    return who


def _current(connection: Connection, label: int) -> Row:
    row = connection.execute(select(t.labels).where(t.labels.c.id == label)).one_or_none()
    if row is None:
        raise LibraryError(f"There is no label {label} in the library.")
    if row.withdrawn_at is not None:
        raise LibraryError(
            f"Label {label} was withdrawn by {row.withdrawn_by} on {row.withdrawn_at[:10]} already."
        )
    return row


def _withdraw(connection: Connection, label: int, by: str) -> None:
    values = {"withdrawn_at": now(), "withdrawn_by": named(by)}
    connection.execute(update(t.labels).where(t.labels.c.id == label).values(**values))


def _insert(
    connection: Connection, clip: Row, sound: str, onset_s: float, offset_s: float, by: str, present: bool, note: str,
    replaces: int | None,
) -> LabelRecord:  # fmt: skip
    if sound not in SOUNDS:
        raise LibraryError(f"{str(sound)[:40]!r} is no word of the ear: use one of {', '.join(SOUNDS)}.")
    numbers = all(isinstance(x, int | float) and math.isfinite(x) for x in (onset_s, offset_s))
    # A codec adds or takes a frame at the end.
    if not numbers or not 0.0 <= onset_s <= offset_s <= clip.duration_s + 0.1:
        raise LibraryError(
            f"A label from {onset_s} to {offset_s} s does not lie in the clip, which lasts {clip.duration_s:.1f} s."
        )
    row: dict[str, Any] = {
        "clip": clip.sha256, "sound": sound, "onset_s": round(float(onset_s), 4), "offset_s": round(float(offset_s), 4),
        "present": bool(present), "author": named(by), "made_at": now(), "replaces": replaces, "note": clean(note),
    }  # fmt: skip
    made = connection.execute(insert(t.labels).returning(t.labels), row).one()
    return label_record(made)
