"""A vault in an object store or on a server, through an fsspec URL (the extra `remote`)."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from listen.errors import LibraryError
from listen.library.vault import BLOCK, Staged, disk_errors, hash_file, missing, stage


class RemoteVault:
    """A vault behind an fsspec URL, with copies for playing in the home folder.

    Parameters
    ----------
    url : str
        Such as `s3://bucket/vault` or `file:///mnt/share/vault`.
    home : Path
        Folder of this computer for temporary files and copies.

    Raises
    ------
    LibraryError
        When fsspec, or its part for this kind of URL, is not installed.
    """

    def __init__(self, url: str, home: Path) -> None:
        try:
            import fsspec

            self._files, root = fsspec.core.url_to_fs(url)
        except (ImportError, ValueError) as error:
            raise LibraryError(
                f"A vault at {url.split('://')[0]}:// needs a library that is not installed ({error}): "
                "install the project with its extra `remote` and what that kind of store asks for."
            ) from error
        self._root = str(root).rstrip("/")
        self.incoming = home / "incoming"
        self._copies = home / "copies"

    def _at(self, sha256: str) -> str:
        return f"{self._root}/{sha256[:2]}/{sha256}"

    def keep(self, staged: Staged) -> None:
        """Upload staged bytes under a temporary name and give them their lasting one."""
        with disk_errors("The file"):
            target = self._at(staged.sha256)
            if self.hash_of(staged.sha256) != staged.sha256:
                part = f"{self._root}/incoming/{staged.path.name}"
                self._files.makedirs(f"{self._root}/incoming", exist_ok=True)
                self._files.makedirs(target.rpartition("/")[0], exist_ok=True)
                self._files.put_file(str(staged.path), part)
                self._files.mv(part, target)
            staged.path.unlink()

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a file."""
        try:
            return bytes(self._files.cat_file(self._at(sha256)))
        except FileNotFoundError as error:
            raise missing(sha256) from error

    def local(self, sha256: str) -> Path:
        """Return a copy on this computer, fetched when it is not there or not as named."""
        path = self._copies / sha256
        if not path.is_file() or hash_file(path) != sha256:
            copy = stage(self._copies, [self.read(sha256)])
            copy.path.replace(path)
        return path

    def hash_of(self, sha256: str) -> str | None:
        """Hash what lies under a name; None where nothing does."""
        digest = hashlib.sha256()
        try:
            with self._files.open(self._at(sha256), "rb") as file:
                while block := file.read(BLOCK):
                    digest.update(block)
        except FileNotFoundError:
            return None
        return digest.hexdigest()

    def remove(self, sha256: str) -> None:
        """Remove a file and its copy here; one that is gone already does no harm."""
        (self._copies / sha256).unlink(missing_ok=True)
        try:
            self._files.rm_file(self._at(sha256))
        except FileNotFoundError:
            return

    def names(self) -> Iterator[tuple[str, float]]:
        """Yield (name, age in s) of every file, the temporary ones as `incoming/…`."""
        at = time.time()
        for name, info in sorted(self._files.find(self._root, detail=True).items()):
            folder, _, last = name.rpartition("/")
            yield (f"incoming/{last}" if folder.endswith("/incoming") else last), at - _made_at(info, at)


def _made_at(info: dict[str, Any], otherwise: float) -> float:
    for key in ("mtime", "created", "LastModified", "last_modified"):
        value = info.get(key)
        if isinstance(value, datetime):
            return value.timestamp()
        if isinstance(value, int | float):
            return float(value)
    # Of unknown age: taken as just made, so that nothing young is removed.
    return otherwise
