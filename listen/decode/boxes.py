"""Outer structure of container files: kind, and whether the file ends too early.

Each walker reads the sizes that the file itself states, in a bounded number
of steps, and compares them with the file's real size. It returns the share of
the promised sound bytes that is there, or None when nothing is missing.
"""

from __future__ import annotations

from collections.abc import Callable
from struct import unpack, unpack_from

ReadAt = Callable[[int, int], bytes]
_MAX_STEPS = 4000
#: Sizes that recorders write when they do not know the length yet.
_OPEN_SIZES = (0, 0x7FFFFFFF, 0x7FFFF000, 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFF000)


def _share(there: int, promised: int) -> float | None:
    if promised <= 0 or there >= promised:
        return None
    return max(0.0, there / promised)


def _chunks_cut(read_at: ReadAt, size: int, order: str, wanted: bytes) -> float | None:
    """Walk chunks of 4-byte name and 4-byte size from offset 12 to the sound chunk."""
    at = 12
    for _ in range(_MAX_STEPS):
        head = read_at(at, 8)
        if len(head) < 8:
            return None
        name, length = unpack(order + "4sI", head)
        if name == wanted:
            if length in _OPEN_SIZES:
                return None
            return _share(size - at - 8, length)
        at += 8 + length + (length & 1)
    return None


def riff_cut(read_at: ReadAt, size: int, order: str) -> float | None:
    """Check the `data` chunk of a WAVE file; `order` is `<` or `>`."""
    return _chunks_cut(read_at, size, order, b"data")


def aiff_cut(read_at: ReadAt, size: int) -> float | None:
    """Check the `SSND` chunk of an AIFF file."""
    return _chunks_cut(read_at, size, ">", b"SSND")


def caf_cut(read_at: ReadAt, size: int) -> float | None:
    """Check the `data` chunk of a Core Audio file (8-byte sizes; -1 means until the end)."""
    at = 8
    for _ in range(_MAX_STEPS):
        head = read_at(at, 12)
        if len(head) < 12:
            return None
        name, length = unpack(">4sq", head)
        if length < 0:
            return None
        if name == b"data":
            return _share(size - at - 12, length)
        at += 12 + length
    return None


def au_cut(head: bytes, size: int) -> float | None:
    """Check the data size of an AU header."""
    if len(head) < 12:
        return None
    offset, length = unpack_from(">II", head, 4)
    if length in _OPEN_SIZES:
        return None
    return _share(size - offset, length)


def movie_cut(read_at: ReadAt, size: int) -> float | None:
    """Check the outer boxes of an ISO media file (ISO/IEC 14496-12, 4.2)."""
    at = 0
    for _ in range(_MAX_STEPS):
        head = read_at(at, 16)
        if len(head) < 8:
            return None if at >= size else 0.0
        length = unpack_from(">I", head)[0]
        if length == 0:
            return None
        if length == 1:
            if len(head) < 16:
                return 0.0
            length = unpack_from(">Q", head, 8)[0]
        if length < 8:
            return None
        if at + length > size:
            return _share(size - at, length) if head[4:8] == b"mdat" else 0.0
        at += length
    return None


def movie_brand(head: bytes) -> str:
    """Return `m4a`, `3gp`, `mov` or `mp4` from the major brand."""
    brand = head[8:12] if head[4:8] == b"ftyp" else b"qt  "
    if brand.startswith(b"M4A") or brand.startswith(b"M4B"):
        return "m4a"
    if brand.startswith(b"3g"):
        return "3gp"
    return "mov" if brand == b"qt  " else "mp4"


def ebml_kind(head: bytes) -> str:
    """Return `webm` or `matroska` from the document type."""
    return "webm" if b"webm" in head[:64] else "matroska"


def ogg_cut(read_at: ReadAt, size: int) -> float | None:
    """Check the last page of an Ogg file: complete, and marked as the last (RFC 3533, 6)."""
    start = max(0, size - (65_307 + 4096))
    tail = read_at(start, size - start)
    at = tail.rfind(b"OggS")
    if at < 0 or len(tail) < at + 27:
        return 0.0
    segments = tail[at + 27 : at + 27 + tail[at + 26]]
    if len(segments) < tail[at + 26] or at + 27 + len(segments) + sum(segments) > len(tail):
        return 0.0
    return None if tail[at + 5] & 4 else 0.0
