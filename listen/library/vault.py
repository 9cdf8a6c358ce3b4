"""The vault: files under the SHA-256 of their bytes, written whole or not at all, never changed.

Conventions
-----------
A file is first *staged* under a temporary name and flushed to the disk, outside
any lock. The writer that holds the library's lock then *keeps* it (a rename)
and commits the row that names it. A kill between the two leaves a file without
a row, which `listen library verify` finds; never a row without its file.
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from listen.errors import LibraryError

BLOCK = 1 << 20
#: Temporary files and files without a row are left alone for so long: another writer may be at work.
YOUNG_S = 3600.0
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True, slots=True)
class Staged:
    """Bytes that lie under a temporary name: their hash, size and where."""

    sha256: str
    size_bytes: int
    path: Path


class Vault(Protocol):
    """What the library needs of a vault."""

    incoming: Path

    def keep(self, staged: Staged) -> None: ...

    def read(self, sha256: str) -> bytes: ...

    def local(self, sha256: str) -> Path: ...

    def hash_of(self, sha256: str) -> str | None: ...

    def remove(self, sha256: str) -> None: ...

    def names(self) -> Iterator[tuple[str, float]]: ...


@contextmanager
def disk_errors(what: str) -> Iterator[None]:
    """Say a full or failing disk in one sentence."""
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            raise LibraryError(
                f"{what} could not be stored: the disk is full. Free some space, then try again."
            ) from error
        raise LibraryError(f"{what} could not be stored or read: {error.strerror or error}.") from error


def stage(incoming: Path, blocks: Iterable[bytes], what: str = "The file") -> Staged:
    """Write bytes under a temporary name, flush them to the disk, and say their hash.

    Parameters
    ----------
    incoming : Path
        Folder for temporary files, of the same file system as the vault where that is a folder.
    blocks : iterable of bytes

    Raises
    ------
    LibraryError
        The disk is full or fails; nothing is left behind.
    """
    digest, size = hashlib.sha256(), 0
    with disk_errors(what):
        incoming.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = incoming / f"{secrets.token_hex(12)}.part"
        try:
            with path.open("xb") as file:
                for block in blocks:
                    file.write(block)
                    digest.update(block)
                    size += len(block)
                file.flush()
                os.fsync(file.fileno())
        except BaseException:
            path.unlink(missing_ok=True)
            raise
    return Staged(digest.hexdigest(), size, path)


def stage_file(path: Path) -> Staged:
    """Flush a temporary file that another writer filled, and say its hash."""
    with disk_errors("The file"):
        with path.open("rb+") as file:
            os.fsync(file.fileno())
        return Staged(hash_file(path), path.stat().st_size, path)


def blocks_of(path: Path) -> Iterator[bytes]:
    """Yield a file's bytes in blocks."""
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            yield block


def hash_file(path: Path) -> str:
    """Return the SHA-256 of a file."""
    digest = hashlib.sha256()
    for block in blocks_of(path):
        digest.update(block)
    return digest.hexdigest()


class FolderVault:
    """A vault in a folder: `ab/abcdef…`, readable by its owner alone.

    Parameters
    ----------
    root : Path
        Made if it is missing.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.incoming = root / "incoming"

    def _at(self, sha256: str) -> Path:
        return self.root / sha256[:2] / sha256

    def keep(self, staged: Staged) -> None:
        """Give staged bytes their lasting name. What lies there already is compared, and healed if damaged."""
        with disk_errors("The file"):
            target = self._at(staged.sha256)
            if not target.parent.is_dir():
                target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                _flush_folder(self.root)
            if target.is_file() and hash_file(target) == staged.sha256:
                staged.path.unlink()
                return
            staged.path.chmod(0o600)
            staged.path.replace(target)
            _flush_folder(target.parent)

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a file."""
        return self.local(sha256).read_bytes()

    def local(self, sha256: str) -> Path:
        """Return where a file can be opened on this computer."""
        path = self._at(sha256)
        if not path.is_file():
            raise missing(sha256)
        return path

    def hash_of(self, sha256: str) -> str | None:
        """Hash what lies under a name; None where nothing does."""
        path = self._at(sha256)
        with disk_errors("A file of the vault"):
            return hash_file(path) if path.is_file() else None

    def remove(self, sha256: str) -> None:
        """Remove a file; one that is gone already does no harm."""
        with disk_errors("A file of the vault"):
            path = self._at(sha256)
            path.unlink(missing_ok=True)
            if path.parent.is_dir():
                _flush_folder(path.parent)

    def names(self) -> Iterator[tuple[str, float]]:
        """Yield (name, age in s) of every file, the temporary ones as `incoming/…`."""
        at = time.time()
        for path in sorted(self.root.glob("*/*")):
            if path.is_file():
                inside = path.parent == self.incoming
                yield (f"incoming/{path.name}" if inside else path.name), at - path.stat().st_mtime


def missing(sha256: str) -> LibraryError:
    """Return the error for a file that a row names and the vault lacks."""
    return LibraryError(
        f"The vault lacks the file {sha256[:12]}…: run `listen library verify`, then restore a backup."
    )


def _flush_folder(folder: Path) -> None:
    """Make a rename outlive a power cut (Windows has no such call and needs none)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def open_vault(place: str, home: Path) -> Vault:
    """Open the vault in a folder, or behind an fsspec URL."""
    if "://" not in place:
        root = Path(place).expanduser().absolute()
        with disk_errors("The vault's folder"):
            root.mkdir(parents=True, exist_ok=True, mode=0o700)
        return FolderVault(root)
    from listen.library.remote import RemoteVault

    return RemoteVault(place, home)
