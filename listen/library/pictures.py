"""Pictures taken beside a recording (gauge, rating plate, sight glass, wet spot), kept with its clip.

They come drawn anew, without place, device and date. They are never part of an
exchange, and go with their clip.
"""

from __future__ import annotations

from sqlalchemy import delete, insert, select
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.clips import find
from listen.library.deletion import finish_removals, note_removals
from listen.library.engine import Database
from listen.library.labels import named
from listen.library.records import PICTURES, PictureRecord
from listen.library.values import now
from listen.library.vault import Vault, stage

MOST_PER_CLIP = 12
_LARGEST_BYTES = 8_000_000
#: Where a JPEG's metadata would stand.
_HEAD_BYTES = 65_536


class Pictures:
    """The pictures of one library."""

    def __init__(self, database: Database, vault: Vault) -> None:
        self._database, self._vault = database, vault

    def add(self, clip: str, jpeg: bytes, *, shows: str, by: str) -> PictureRecord:
        """Keep a picture with a clip; the same picture again changes only what it shows.

        Parameters
        ----------
        clip : str
            Hash of the clip, or its beginning.
        jpeg : bytes
            As :func:`listen.intake.pictures.redrawn` returns it.
        shows : str
            One of :data:`listen.library.records.PICTURES`.
        by : str
            Who adds it.

        Raises
        ------
        LibraryError
            It is not a bare JPEG, too large, one too many, or the disk is full.
        """
        who = named(by)
        if shows not in PICTURES:
            raise LibraryError(f"A picture shows one of {', '.join(PICTURES)}, not {str(shows)[:20]!r}.")
        if not jpeg.startswith(b"\xff\xd8\xff") or b"Exif\x00" in jpeg[:_HEAD_BYTES]:
            raise LibraryError(
                "A picture is kept as a JPEG without place, device and date: draw it anew first."
            )
        if len(jpeg) > _LARGEST_BYTES:
            raise LibraryError("A picture may have 8 MB: make it smaller, then keep it.")
        staged = stage(self._vault.incoming, [jpeg], "The picture")
        p = t.pictures.c
        try:
            with self._database.writing() as connection:
                sha256 = find(connection, clip).sha256
                have = connection.execute(select(t.pictures).where(p.clip == sha256)).all()
                if len([row for row in have if row.sha256 != staged.sha256]) >= MOST_PER_CLIP:
                    raise LibraryError(f"A clip keeps {MOST_PER_CLIP} pictures: remove one first.")
                self._vault.keep(staged)
                connection.execute(t.removals.delete().where(t.removals.c.sha256 == staged.sha256))
                connection.execute(delete(t.pictures).where(p.clip == sha256, p.sha256 == staged.sha256))
                values = {
                    "clip": sha256, "sha256": staged.sha256, "size_bytes": staged.size_bytes, "shows": shows,
                    "added_at": now(), "added_by": who,
                }  # fmt: skip
                connection.execute(insert(t.pictures), values)
        finally:
            staged.path.unlink(missing_ok=True)
        return next(one for one in self.of(sha256) if one.sha256 == staged.sha256)

    def of(self, clip: str) -> tuple[PictureRecord, ...]:
        """Return the pictures of a clip, in the order in which they were added."""
        with self._database.reading() as connection:
            sha256 = find(connection, clip).sha256
            rows = connection.execute(
                select(t.pictures).where(t.pictures.c.clip == sha256).order_by(t.pictures.c.id)
            )
            return tuple(_record(row) for row in rows)

    def read(self, picture: PictureRecord) -> bytes:
        """Return the JPEG."""
        return self._vault.read(picture.sha256)

    def remove(self, picture: PictureRecord) -> None:
        """Take a picture away, and its file where nothing else needs it."""
        with self._database.writing() as connection:
            connection.execute(delete(t.pictures).where(t.pictures.c.id == picture.id))
            note_removals(connection, {picture.sha256})
        finish_removals(self._database, self._vault)


def _record(row: Row) -> PictureRecord:
    return PictureRecord(row.id, row.clip, row.sha256, row.size_bytes, row.shows, row.added_at, row.added_by)
