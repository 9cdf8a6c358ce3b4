"""Take a clip in: stage its bytes and its copy for playing, then keep files and rows together."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, insert, select

from listen.decode.limits import DecodeLimits
from listen.decode.source import Source
from listen.errors import LibraryError
from listen.library import clips as c
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.machines import machine_of
from listen.library.measure import Measured, measure_clip, measures_row
from listen.library.records import ClipRecord
from listen.library.values import clean, is_hash, moment, now
from listen.library.vault import BLOCK, Staged, Vault, stage
from listen.types import StoryMark

if TYPE_CHECKING:
    from listen.decode import DecodeWorker

#: Where a clip may come from.
CAME_FROM: tuple[str, ...] = ("shop", "customer", "folder", "exchange")


@dataclass(frozen=True, slots=True)
class Told:
    """What a person tells with a clip; see :meth:`listen.library.Library.add_clip` for each field."""

    machine: str | None = None
    story: Iterable[StoryMark | Sequence[Any]] = ()
    gauges: Mapping[str, float] | None = None
    said: str = ""
    answers: Mapping[str, str] | None = None
    capture: Mapping[str, Any] | None = None
    recorded_at: str | datetime | None = None
    by: str = ""
    consent: str = "shop"
    consent_by: str = ""
    keep_until: str | date | None = None
    ticket: str = ""
    before_clip: str | None = None
    came_from: str = "shop"
    origin_sha256: str | None = None
    values: dict[str, Any] = field(default_factory=dict)

    def checked(self) -> dict[str, Any]:
        """Return the columns that come from a person, all checked before a byte is written."""
        if self.came_from not in CAME_FROM:
            raise LibraryError(
                f"A clip comes from one of {', '.join(CAME_FROM)}, not {self.came_from[:20]!r}."
            )
        if self.origin_sha256 is not None and not is_hash(self.origin_sha256):
            raise LibraryError("The hash of the first recording is no SHA-256.")
        return {
            "machine": self.machine, "story": c.story_values(self.story), "gauges": c.gauge_values(self.gauges),
            "said": clean(self.said), "answers": c.word_values(self.answers, "The answers"),
            "capture": c.word_values(self.capture, "How it was recorded"),
            "recorded_at": moment(self.recorded_at, "recorded"), "added_by": clean(self.by, longest=80),
            "consent": c.consent_value(self.consent), "consent_by": clean(self.consent_by or self.by, longest=80),
            "keep_until": c.day_value(self.keep_until), "ticket": clean(self.ticket, longest=80),
            "came_from": self.came_from, "origin_sha256": self.origin_sha256,
        }  # fmt: skip


def add_clip(
    database: Database, vault: Vault, source: str | os.PathLike[str] | bytes, told: Told, *, name: str | None = None,
    worker: DecodeWorker | None = None, again: bool = False,
) -> ClipRecord:  # fmt: skip
    """Store a clip; when this returns, it is on the disk and in the tables.

    Raises
    ------
    UnreadableClip, UnusableClip
        It cannot be decoded: nothing is stored.
    LibraryError
        Something told about it is not right, it was deleted on request, or the disk is full.
    """
    columns = told.checked()
    original, shown = _stage_original(source, name, vault)
    flac: Staged | None = None
    try:
        known = _known(database, original.sha256, told, again)
        if known is not None:
            return known
        measured = measure_clip(original.path, name=shown, incoming=vault.incoming, worker=worker)
        flac = measured.flac
        if flac is None:
            raise LibraryError("The clip has no copy for playing.")
        with database.writing() as connection:
            # Another writer may have brought the same bytes in the meantime.
            row = connection.execute(select(t.clips).where(t.clips.c.sha256 == original.sha256)).one_or_none()
            if row is not None:
                return c.record(row, was_known=True)
            _refuse_deleted(connection, original.sha256, told, again)
            _insert(connection, original, flac, measured, columns, told)
            vault.keep(original)
            vault.keep(flac)
        with database.reading() as connection:
            return c.record(
                connection.execute(select(t.clips).where(t.clips.c.sha256 == original.sha256)).one()
            )
    finally:
        for staged in (original, flac):
            if staged is not None:
                staged.path.unlink(missing_ok=True)


def _stage_original(
    source: str | os.PathLike[str] | bytes, name: str | None, vault: Vault
) -> tuple[Staged, str]:
    opened = Source(source, name=name, limits=DecodeLimits())
    try:

        def blocks() -> Iterator[bytes]:
            for offset in range(0, opened.size, BLOCK):
                yield opened.read_at(offset, BLOCK)

        return stage(vault.incoming, blocks(), opened.name), opened.name
    finally:
        opened.close()


def _known(database: Database, sha256: str, told: Told, again: bool) -> ClipRecord | None:
    with database.reading() as connection:
        row = connection.execute(select(t.clips).where(t.clips.c.sha256 == sha256)).one_or_none()
        if row is not None:
            return c.record(row, was_known=True)
        if told.machine is not None:
            machine_of(connection, told.machine)
        _refuse_deleted(connection, sha256, told, again)
    return None


def _refuse_deleted(connection: Connection, sha256: str, told: Told, again: bool) -> None:
    hashes = [sha256] + ([told.origin_sha256] if told.origin_sha256 else [])
    gone = connection.scalar(select(t.tombstones.c.deleted_at).where(t.tombstones.c.sha256.in_(hashes)))
    if gone and not again:
        raise LibraryError(
            f"This recording was deleted on request on {gone[:10]} and is not taken in again. With new consent, add it with `--again`."
        )


def _insert(
    connection: Connection,
    original: Staged,
    flac: Staged,
    measured: Measured,
    columns: dict[str, Any],
    told: Told,
) -> None:
    before = c.find(connection, told.before_clip).sha256 if told.before_clip else None
    info = measured.info
    row = {
        **columns, "sha256": original.sha256, "name": info.name, "size_bytes": original.size_bytes, "container": info.container,
        "codec": info.codec, "rate_hz": info.sample_rate_hz, "channels": info.channels,
        "duration_s": round(info.duration_s, 4), "band_low_hz": round(measured.band_hz[0], 1),
        "band_high_hz": round(measured.band_hz[1], 1), "flac_sha256": flac.sha256, "flac_bytes": flac.size_bytes,
        "added_at": now(), "before_clip": before, "fold": fold_for(connection, told.machine),
    }  # fmt: skip
    connection.execute(insert(t.clips), row)
    connection.execute(insert(t.measures), measures_row(original.sha256, measured, row["added_at"]))
    keep_names = [original.sha256, flac.sha256]
    connection.execute(t.removals.delete().where(t.removals.c.sha256.in_(keep_names)))
    hashes = keep_names[:1] + ([told.origin_sha256] if told.origin_sha256 else [])
    connection.execute(t.tombstones.delete().where(t.tombstones.c.sha256.in_(hashes)))


def fold_for(connection: Connection, machine: str | None) -> str:
    """Return the fold of a new clip: its machine's; of clips without a machine every second is for tests."""
    if machine is not None:
        return machine_of(connection, machine).fold
    count = connection.scalar(select(func.count()).select_from(t.clips).where(t.clips.c.machine.is_(None)))
    return "test" if (count or 0) % 2 == 1 else "train"
