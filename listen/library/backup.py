"""One file that holds a whole library: rows as JSON lines, files of the vault, a checksum of each.

Conventions
-----------
The file is a plain tar. `about.json` stands first; `rows/TABLE.jsonl` holds the
rows of one moment; `vault/HASH` the files those rows name; the tombstones come
last, as they are when the backup ends, and `checksums.json` closes it: a file
without it was cut off. Rows do not depend on the kind of database.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from listen.errors import LibraryError
from listen.library import deletion
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.schema import HEAD
from listen.library.values import now, to_json
from listen.library.vault import Vault, disk_errors
from listen.library.verify import digest

FORMAT = "listen-backup/1"


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds: `digest` is one hash over all rows, equal in a library restored from it."""

    path: Path
    n_clips: int
    n_files: int
    size_bytes: int
    digest: str


def back_up(
    database: Database, vault: Vault, path: Path, echo: Callable[[str], object] | None = None
) -> BackedUp:
    """Write a backup; it gets its name only when it is whole and on the disk.

    Adding clips may go on meanwhile: the backup holds the library as it was when it began.

    Raises
    ------
    LibraryError
        A file is there already, the disk is full, or the vault lacks a file (run `verify`).
    """
    if path.exists():
        raise LibraryError(f"{path.name} is there already: name a new file for the backup.")
    part = path.with_name(f".{path.name}.part")
    sums: dict[str, str] = {}
    try:
        with disk_errors("The backup"), part.open("xb") as file, tarfile.open(fileobj=file, mode="w") as tar:
            with database.reading(snapshot=True) as connection:
                whole = digest(connection)
                needed = sorted(deletion.needed_files(connection))
                counts = {}
                rows = {
                    name: _rows(connection, table)
                    for name, table in t.metadata.tables.items()
                    if name != "tombstones"
                }
                for name, lines in rows.items():
                    counts[name] = len(lines)
            about = {
                "format": FORMAT, "schema": HEAD, "made_at": now(), "digest": whole, "counts": counts, "files": len(needed),
            }  # fmt: skip
            _add(tar, "about.json", to_json(about).encode(), sums)
            for name, lines in rows.items():
                _add(tar, f"rows/{name}.jsonl", "".join(f"{line}\n" for line in lines).encode(), sums)
            gone = []
            for done, sha256 in enumerate(needed, start=1):
                try:
                    data = vault.read(sha256)
                except LibraryError:
                    gone.append(sha256)
                    continue
                if hashlib.sha256(data).hexdigest() != sha256:
                    raise LibraryError(
                        f"The file {sha256[:12]}… of the vault is damaged: run `listen library verify` first."
                    )
                _add(tar, f"vault/{sha256}", data, sums)
                if echo is not None and done % 200 == 0:
                    echo(f"{done} of {len(needed)} files")
            with database.reading() as connection:
                # What was deleted while this ran is missing with good reason.
                still = deletion.needed_files(connection)
                stones = _rows(connection, t.tombstones)
            if lost := set(gone) & still:
                raise LibraryError(
                    f"The vault lacks the file {min(lost)[:12]}…: run `listen library verify` first."
                )
            _add(tar, "rows/tombstones.jsonl", "".join(f"{line}\n" for line in stones).encode(), sums)
            _add(tar, "checksums.json", to_json(sums).encode(), {})
            tar.close()
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except FileExistsError as error:
        raise LibraryError(
            f"Another backup to {path.name} is being written, or was cut off: remove {part.name}."
        ) from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return BackedUp(path, counts["clips"], len(needed) - len(gone), path.stat().st_size, whole)


def _rows(connection: Connection, table: Any) -> list[str]:
    order = list(table.primary_key.columns)
    return [
        to_json({key: _portable(value) for key, value in row._mapping.items()})
        for row in connection.execute(select(table).order_by(*order))
    ]


def _portable(value: Any) -> Any:
    if isinstance(value, bytes | memoryview):
        return {"base64": base64.b64encode(bytes(value)).decode()}
    return value


def _add(tar: tarfile.TarFile, name: str, data: bytes, sums: dict[str, str]) -> None:
    info = tarfile.TarInfo(name)
    info.size, info.mode = len(data), 0o600
    tar.addfile(info, io.BytesIO(data))
    sums[name] = hashlib.sha256(data).hexdigest()


def read_about(tar: tarfile.TarFile) -> dict[str, Any]:
    """Return what a backup says of itself."""
    try:
        member = tar.next()
        file = tar.extractfile(member) if member is not None and member.name == "about.json" else None
        about = json.loads(file.read(1_000_000)) if file is not None else {}
    except (ValueError, tarfile.TarError, OSError) as error:
        raise LibraryError("The file is no backup of a library, or it was cut off.") from error
    if about.get("format") != FORMAT:
        raise LibraryError(f"The file is no backup of a library in the form {FORMAT!r}.")
    return dict(about)
