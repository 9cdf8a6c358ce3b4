"""Open what a person named: a regular file, or bytes; nothing else, and without blocking."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
import tempfile
import unicodedata
from pathlib import Path
from typing import IO

from listen.decode.limits import DecodeLimits
from listen.errors import BadParameter, UnreadableClip

_HASH_BLOCK = 1 << 20
_NAME_LENGTH = 80


def clean_name(name: str) -> str:
    """Return a file name fit for a message: last part, no control characters, shortened.

    Examples
    --------
    >>> clean_name("/home/x/clip\\x1b[31m 1.m4a")
    'clip[31m 1.m4a'
    """
    last = name.replace("\\", "/").rstrip("/").rsplit("/", 1)[-1] if name.strip("/\\") else name
    shown = "".join(
        " " if c.isspace() else c for c in last if c.isspace() or unicodedata.category(c)[0] != "C"
    )
    shown = " ".join(shown.split()) or "clip"
    if len(shown) <= _NAME_LENGTH:
        return shown
    return f"{shown[: _NAME_LENGTH - 13]}…{shown[-12:]}"


class Source:
    """An open clip: file object, size and shown name.

    Parameters
    ----------
    source : str, path or bytes
    name : str or None
        Name to show instead of the file's own.
    limits : DecodeLimits

    Raises
    ------
    UnreadableClip
        When it is missing, not a regular file, not readable, empty or too large.
    """

    #: Whether :meth:`read_at` leaves the read position alone even for a moment.
    reads_apart = hasattr(os, "pread")

    def __init__(
        self, source: str | os.PathLike[str] | bytes, *, name: str | None, limits: DecodeLimits
    ) -> None:
        if isinstance(source, bytes | bytearray | memoryview):
            self.name = clean_name(name or "clip")
            self.file: IO[bytes] = _in_memory(bytes(source), limits)
        elif isinstance(source, str | os.PathLike):
            path = os.fspath(source)
            if not isinstance(path, str):
                path = os.fsdecode(path)
            self.name = clean_name(name or path)
            self.file = _open_regular(path, self.name)
        else:
            raise BadParameter(f"A clip is a path or bytes, not {type(source).__name__}.")
        self.size = os.fstat(self.file.fileno()).st_size
        try:
            self._check_size(limits)
        except UnreadableClip:
            self.close()
            raise

    def _check_size(self, limits: DecodeLimits) -> None:
        if self.size == 0:
            raise UnreadableClip(f"{self.name}: the file is empty (0 bytes); send the recording again.")
        if self.size > limits.max_bytes:
            raise UnreadableClip(
                f"{self.name}: the file has {self.size / 1e6:.0f} MB, more than the limit of "
                f"{limits.max_bytes / 1e6:.0f} MB; cut out the part that matters."
            )

    def read_at(self, offset: int, size: int) -> bytes:
        """Return the bytes at an offset, without moving the position the child reads from."""
        if self.reads_apart:
            try:
                return os.pread(self.file.fileno(), size, offset) if offset < self.size else b""
            except (OSError, OverflowError):
                return b""
        position = self.file.tell()
        self.file.seek(min(offset, self.size))
        data = self.file.read(size)
        self.file.seek(position)
        return data

    def sha256(self) -> str:
        """Return the hash of the original bytes, computed in blocks."""
        digest = hashlib.sha256()
        for offset in range(0, self.size, _HASH_BLOCK):
            digest.update(self.read_at(offset, _HASH_BLOCK))
        return digest.hexdigest()

    def close(self) -> None:
        """Close the file."""
        self.file.close()


def _in_memory(data: bytes, limits: DecodeLimits) -> IO[bytes]:
    """Put bytes into a file that has no name."""
    if len(data) > limits.max_bytes:
        raise UnreadableClip(
            f"The clip is larger than the limit of {limits.max_bytes / 1e6:.0f} MB; "
            "cut out the part that matters."
        )
    if hasattr(os, "memfd_create"):
        file: IO[bytes] = os.fdopen(os.memfd_create("clip"), "w+b", buffering=0)
    else:
        file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - closed by Source.close
    try:
        view = memoryview(data)
        while view:
            view = view[file.write(view) :]
        file.seek(0)
    except OSError as error:
        file.close()
        raise UnreadableClip(
            f"The clip could not be held in memory ({error.strerror}); close other programs and try again."
        ) from error
    return file


_OPEN_ERRORS = {
    errno.ENOENT: "there is no such file; check the name and the folder.",
    errno.ENOTDIR: "there is no such file; check the name and the folder.",
    errno.EACCES: "this file may not be read; change its permissions or copy it to a folder of your own.",
    errno.EPERM: "this file may not be read; change its permissions or copy it to a folder of your own.",
    errno.ENAMETOOLONG: "the name is too long; rename the file.",
    errno.ELOOP: "the link leads to itself; name the recording directly.",
    errno.ENXIO: "this is not a file but a device or a pipe; save the recording as a file first.",
    errno.EISDIR: "this is a folder; name the recordings in it.",
}


def _open_regular(path: str, shown: str) -> IO[bytes]:
    """Open a regular file for reading; pipes and devices are refused without waiting for them."""
    flags = os.O_RDONLY
    for name in ("O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_BINARY"):
        flags |= getattr(os, name, 0)
    try:
        if path and Path(path).is_dir():
            raise IsADirectoryError(errno.EISDIR, "folder")
        descriptor = os.open(path, flags)
    except ValueError as error:
        raise UnreadableClip(
            f"{shown}: this is not a file name (it holds a zero character); check it."
        ) from error
    except OSError as error:
        words = _OPEN_ERRORS.get(error.errno or 0, f"the file could not be opened ({error.strerror}).")
        raise UnreadableClip(f"{shown}: {words}") from error
    mode = os.fstat(descriptor).st_mode
    if not stat.S_ISREG(mode):
        os.close(descriptor)
        kind = "this is a folder; name the recordings in it."
        if not stat.S_ISDIR(mode):
            kind = _OPEN_ERRORS[errno.ENXIO]
        raise UnreadableClip(f"{shown}: {kind}")
    if hasattr(os, "set_blocking"):
        with contextlib.suppress(OSError):
            os.set_blocking(descriptor, True)
    return os.fdopen(descriptor, "rb", buffering=0)
