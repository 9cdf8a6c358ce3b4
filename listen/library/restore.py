"""Bring a library back from its backup: checked wholly before it gets its place, deletions honoured.

Conventions
-----------
The backup is unpacked beside the place, into tables of the step it was made
with; then the steps since are applied. What was deleted after the backup, by
the tombstones of the library that stood there or by a ledger, is deleted from
the restored one before it appears.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import secrets
import shutil
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection, MetaData, delete, inspect, or_, select, text

from listen.errors import LibraryError
from listen.library import deletion
from listen.library import tables as t
from listen.library.backup import read_about
from listen.library.engine import Database
from listen.library.place import DATABASE, Place
from listen.library.schema import HEAD, prepare, upgrade
from listen.library.values import is_hash
from listen.library.vault import Staged, disk_errors, open_vault, stage
from listen.library.verify import digest

_VAULT = re.compile(r"vault/([0-9a-f]{64})")
_ROWS = re.compile(r"rows/([a-z_]{1,40})\.jsonl")
_LARGEST_ROWS = 4_000_000_000


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored. `deleted`: clips of the backup that had been deleted since; `kept_aside`: the library before."""

    place: Place
    n_clips: int
    n_files: int
    deleted: tuple[str, ...]
    digest: str
    kept_aside: Path | None


def restore(
    path: Path, place: Place, *, replace: bool = False, ledgers: tuple[Path, ...] = (),
    echo: Callable[[str], object] | None = None,
) -> Restored:  # fmt: skip
    """Restore a backup to a place.

    Parameters
    ----------
    path : Path
        File written by :func:`listen.library.backup.back_up`.
    place : Place
        An embedded library's folder, or an empty database.
    replace : bool
        Put it in the place of an embedded library that is there; that one is kept aside, and what it
        knows of deletions is applied.
    ledgers : tuple of Path
        Further `deleted.csv` files to honour.

    Raises
    ------
    LibraryError
        The file is damaged or cut off, the place is taken, or the disk is full. Nothing is changed then.
    """
    stones = [stone for ledger in ledgers for stone in deletion.read_ledger(ledger)]
    if not place.embedded:
        return _into_database(path, place, stones, echo)
    taken = place.home.is_dir() and any(place.home.iterdir())
    if taken and not replace:
        raise LibraryError(
            f"There is a library at {place.shown}: name another place, or say --replace to put it aside."
        )
    if taken:
        stones += deletion.read_ledger(place.home / deletion.LEDGER) + _stones_of(place)
    inside = Path(place.vault).is_relative_to(place.home) if "://" not in place.vault else False
    new_home = place.home.with_name(f"{place.home.name}.restoring-{secrets.token_hex(4)}")
    vault_place = str(new_home / Path(place.vault).relative_to(place.home)) if inside else place.vault
    new = Place(new_home, f"sqlite:///{new_home / DATABASE}", vault_place)
    try:
        new_home.mkdir(parents=True, mode=0o700)
        made = _fill(path, new, stones, echo)
        aside = None
        if taken:
            aside = place.home.with_name(f"{place.home.name}.before-restore-{secrets.token_hex(4)}")
            place.home.rename(aside)
        elif place.home.is_dir():
            place.home.rmdir()
        new_home.rename(place.home)
    except BaseException:
        shutil.rmtree(new_home, ignore_errors=True)
        raise
    return Restored(place, made.n_clips, made.n_files, made.deleted, made.digest, aside)


def _into_database(
    path: Path, place: Place, stones: list[tuple[str, str, str, str]], echo: Callable[[str], object] | None
) -> Restored:
    database = Database(place)
    try:
        with database.reading() as connection:
            names = set(inspect(connection).get_table_names())
            if names:
                known = names <= {*t.metadata.tables, "alembic_version"}
                if not known or ("clips" in names and connection.scalar(text("SELECT count(*) FROM clips"))):
                    raise LibraryError(f"The database {place.shown} is not empty: restore into an empty one.")
    finally:
        database.close()
    return _fill(path, place, stones, echo)


def _fill(
    path: Path, place: Place, stones: list[tuple[str, str, str, str]], echo: Callable[[str], object] | None
) -> Restored:
    database = Database(place)
    vault = open_vault(place.vault, place.home)
    staged: list[Staged] = []
    try:
        with disk_errors("The backup"), _opened(path) as tar:
            about = read_about(tar)
            schema = str(about.get("schema"))
            if schema > HEAD:
                raise LibraryError(
                    "The backup was made by a newer version of this program: update the program."
                )
            with database.writing() as connection:
                _fresh_tables(connection, schema)
                rows, sums, n_files = _unpack(tar, vault.incoming, staged, echo)
                if json.loads(rows.pop("", b"{}")) != sums:
                    raise LibraryError(f"{path.name} is damaged or was cut off: use another backup.")
                _insert(connection, rows)
                for file in staged:
                    vault.keep(file)
        prepare(database)
        with database.reading() as connection:
            found = digest(connection)
            needed = deletion.needed_files(connection)
            lacking = [sha256 for sha256 in sorted(needed) if vault.hash_of(sha256) is None]
            buried = {s[0] for s in stones} | set(connection.scalars(select(t.tombstones.c.sha256)))
            k = t.clips.c
            gone = [
                row.sha256
                for row in connection.execute(select(k.sha256, k.origin_sha256))
                if {row.sha256, row.origin_sha256} & buried
            ]
        if schema == HEAD and about.get("digest") != found and not _only_stones(about, database):
            raise LibraryError(
                f"{path.name}: its rows are not those that it was made with; use another backup."
            )
        deleted = _bury(database, vault, gone, stones)
        with database.reading() as connection:
            needed = deletion.needed_files(connection)
            if lost := [sha256 for sha256 in lacking if sha256 in needed]:
                raise LibraryError(f"{path.name} lacks the file {lost[0][:12]}…: use another backup.")
            n_clips = len(connection.execute(select(t.clips.c.sha256)).all())
        return Restored(place, n_clips, n_files, deleted, found, None)
    finally:
        for file in staged:
            file.path.unlink(missing_ok=True)
        database.close()


def _opened(path: Path) -> tarfile.TarFile:
    try:
        return tarfile.open(path, mode="r:")
    except (OSError, tarfile.TarError) as error:
        raise LibraryError(f"{path.name} cannot be read as a backup of a library.") from error


def _fresh_tables(connection: Connection, schema: str) -> None:
    """Make the tables of the step that the backup was made with."""
    there = set(inspect(connection).get_table_names())
    if there:
        t.metadata.drop_all(connection)
        connection.execute(text("DROP TABLE IF EXISTS alembic_version"))
    upgrade(connection, schema)


def _unpack(
    tar: tarfile.TarFile, incoming: Path, staged: list[Staged], echo: Callable[[str], object] | None
) -> tuple[dict[str, bytes], dict[str, str], int]:
    """Read rows into memory and stage the files; under the empty name what the backup says of its checksums."""
    rows: dict[str, bytes] = {}
    sums: dict[str, str] = {}
    first = True
    for member in _members(tar):
        file = tar.extractfile(member)
        if file is None or not member.isfile():
            raise LibraryError("The backup holds something that is no file: use another one.")
        if match := _VAULT.fullmatch(member.name):
            found = stage(incoming, _blocks(file), "A file of the backup")
            staged.append(found)
            if found.sha256 != match[1]:
                raise LibraryError(
                    f"The backup is damaged: its file {match[1][:12]}… does not have its hash."
                )
            sums[member.name] = found.sha256
            if echo is not None and len(staged) % 200 == 0:
                echo(f"{len(staged)} files")
            continue
        data = file.read()
        if member.name == "checksums.json":
            rows[""] = data
            continue
        sums[member.name] = hashlib.sha256(data).hexdigest()
        if match := _ROWS.fullmatch(member.name):
            rows[match[1]] = data
        elif not (first and member.name == "about.json"):
            raise LibraryError(f"The backup holds an unknown part ({member.name[:40]!r}): use another one.")
        first = False
    return rows, sums, len(staged)


def _blocks(file: IO[bytes]) -> Iterator[bytes]:
    while block := file.read(1 << 20):
        yield block


def _members(tar: tarfile.TarFile) -> Iterator[tarfile.TarInfo]:
    # `about.json` was read to choose the tables; it is read once more for its checksum.
    try:
        yield from tar.getmembers()
    except (tarfile.TarError, OSError, EOFError) as error:
        raise LibraryError("The backup is damaged or was cut off: use another one.") from error


def _insert(connection: Connection, rows: dict[str, bytes]) -> None:
    shape = MetaData()
    shape.reflect(connection)
    for name in rows:
        if name not in shape.tables:
            raise LibraryError(f"The backup holds rows of an unknown table ({name!r}): update the program.")
    for table in shape.sorted_tables:
        lines = [_native(json.loads(line)) for line in rows.get(table.name, b"").splitlines()]
        if table.name == "clips":
            # A clip may name one that stands further down.
            later = [(row["sha256"], row["before_clip"]) for row in lines if row.get("before_clip")]
            lines = [{**row, "before_clip": None} for row in lines]
        if lines:
            connection.execute(table.insert(), lines)
        if table.name == "clips":
            for sha256, before in later:
                connection.execute(table.update().where(table.c.sha256 == sha256).values(before_clip=before))
        if (
            connection.dialect.name == "postgresql"
            and "id" in table.c
            and lines
            and isinstance(lines[0]["id"], int)
        ):
            connection.execute(
                text("SELECT setval(pg_get_serial_sequence(:table, 'id'), :top)"),
                {"table": table.name, "top": max(row["id"] for row in lines)},
            )


def _native(row: dict[str, Any]) -> dict[str, Any]:
    return {
        k: base64.b64decode(v["base64"]) if isinstance(v, dict) and set(v) == {"base64"} else v
        for k, v in row.items()
    }


def _only_stones(about: dict[str, Any], database: Database) -> bool:
    """Whether the rows differ from the backup's first moment only by deletions made while it was written."""
    with database.reading() as connection:
        return all(
            len(connection.execute(select(*table.primary_key.columns)).all()) == about["counts"][name]
            for name, table in t.metadata.tables.items()
            if name != "tombstones"
        )


def _bury(
    database: Database, vault: Any, gone: list[str], stones: list[tuple[str, str, str, str]]
) -> tuple[str, ...]:
    """Delete from the restored library what was deleted since its backup."""
    deleted: tuple[str, ...] = ()
    if gone:
        deleted = deletion.delete_clips(
            database, vault, gone, by="restore", why="deleted since the backup"
        ).clips
    with database.writing() as connection:
        valid = [stone for stone in stones if is_hash(stone[0])]
        if valid:
            # The first word on a deletion stands: who, when and why.
            connection.execute(
                delete(t.tombstones).where(or_(*(t.tombstones.c.sha256 == stone[0] for stone in valid[:500])))
            )
        deletion.bury(connection, valid)
    every: list[tuple[str, str, str, str]]
    with database.reading() as connection:
        s = t.tombstones.c
        every = [
            tuple(row)
            for row in connection.execute(
                select(s.sha256, s.deleted_at, s.deleted_by, s.why).order_by(s.sha256)
            )
        ]  # type: ignore[misc]
    (database.place.home / deletion.LEDGER).unlink(missing_ok=True)
    if every:
        deletion.write_ledger(database, every)
    return deleted


def _stones_of(place: Place) -> list[tuple[str, str, str, str]]:
    """Return the tombstones of the library that stands in the place; none when it cannot be read any more."""
    database = Database(place)
    try:
        with database.reading() as connection:
            s = t.tombstones.c
            return [
                tuple(row) for row in connection.execute(select(s.sha256, s.deleted_at, s.deleted_by, s.why))
            ]  # type: ignore[misc]
    except LibraryError:
        # It is damaged: that is why a backup is restored. The ledger beside it holds the same.
        return []
    finally:
        database.close()
