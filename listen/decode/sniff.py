"""Tell a container format from its bytes, never from its name.

The result is the name of the one demuxer that may read the file, so that
playlists, manifests and other formats that point at second files are never
tried. Walking the outer boxes also shows whether the file ends too early.

Conventions
-----------
`read_at(offset, size)` returns the bytes there, fewer at the end of the file.
Every walk is bounded in steps; a lying size ends it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from listen.decode.boxes import (
    aiff_cut,
    au_cut,
    caf_cut,
    ebml_kind,
    movie_brand,
    movie_cut,
    ogg_cut,
    riff_cut,
)

ReadAt = Callable[[int, int], bytes]
_HEAD = 8192
_MPEG_BITRATES = {
    (1, 1): (0, 32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448),
    (1, 2): (0, 32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384),
    (1, 3): (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    (2, 1): (0, 32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256),
    (2, 2): (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
    (2, 3): (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
}


@dataclass(frozen=True, slots=True)
class Found:
    """What a file is.

    Attributes
    ----------
    demuxer : str
        The one demuxer that may read it.
    container : str
        Short name for the report.
    cut_share : float or None
        Share of the promised bytes that is there when the file ends too
        early; 0.0 when it ends too early and the promise is unknown; None
        when no such sign is seen.
    header_duration : bool
        Whether the duration that the demuxer states stands in the file's
        header (and is not itself reckoned from the file's size).
    """

    demuxer: str
    container: str
    cut_share: float | None = None
    header_duration: bool = False


class NotAClip(Exception):
    """The bytes are no recording; `kind` says what they look like."""

    def __init__(self, kind: str) -> None:
        super().__init__(kind)
        self.kind = kind


def sniff(read_at: ReadAt, size: int) -> Found:
    """Find the container format of a file.

    Parameters
    ----------
    read_at : callable
    size : int
        Size of the file in bytes.

    Raises
    ------
    NotAClip
        With a kind: `empty`, `playlist`, `text`, `archive`, `picture`,
        `document`, `web_page`, `tag_only` or `unknown`.
    """
    head = read_at(0, _HEAD)
    if not head:
        raise NotAClip("empty")
    found = _by_magic(head, read_at, size)
    if found is not None:
        return found
    offset = _after_id3(head)
    if offset:
        head = read_at(offset, _HEAD)
        if head[:4] == b"fLaC":
            return Found("flac", "flac", header_duration=True)
    elif (kind := _other_kind(head)) is not None:
        raise NotAClip(kind)
    found = _by_frames(head)
    if found is None and offset:
        # A tag is followed by padding of any length: look where it ends.
        for step in range(1, 64):
            head = read_at(offset + step * 4096, _HEAD)
            if not head:
                break
            if (found := _by_frames(head)) is not None:
                break
    if found is None:
        raise NotAClip("tag_only" if offset else "unknown")
    return found


def _by_magic(head: bytes, read_at: ReadAt, size: int) -> Found | None:
    four, eight = head[:4], head[8:12]
    if four in (b"RIFF", b"RIFX") and eight == b"WAVE":
        return Found("wav", "wav", riff_cut(read_at, size, "<" if four == b"RIFF" else ">"))
    if four in (b"RF64", b"BW64") and eight == b"WAVE":
        return Found("wav", "wav")
    if head[:16] == b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00":
        return Found("w64", "w64")
    if four == b"FORM" and eight in (b"AIFF", b"AIFC"):
        return Found("aiff", "aiff", aiff_cut(read_at, size))
    if four == b"caff":
        return Found("caf", "caf", caf_cut(read_at, size))
    if four == b"fLaC":
        return Found("flac", "flac", header_duration=True)
    if four == b"OggS":
        return Found("ogg", "ogg", ogg_cut(read_at, size))
    if four == b".snd":
        return Found("au", "au", au_cut(head, size))
    if four == b"\x1aE\xdf\xa3":
        return Found("matroska", ebml_kind(head), header_duration=True)
    if head.startswith((b"#!AMR\n", b"#!AMR-WB\n")):
        return Found("amr", "amr")
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return Found("mov", movie_brand(head), movie_cut(read_at, size))
    return None


def _after_id3(head: bytes) -> int:
    """Return where the sound starts behind an ID3v2 tag, 0 without one."""
    if head[:3] != b"ID3" or len(head) < 10 or any(byte & 0x80 for byte in head[6:10]):
        return 0
    length = (head[6] << 21) | (head[7] << 14) | (head[8] << 7) | head[9]
    return 10 + length + (10 if head[5] & 0x10 else 0)


def _mpeg_length(head: bytes, at: int) -> int:
    """Return the length of an MPEG audio frame at `at`, 0 if there is none (ISO/IEC 11172-3, 2.4.1.3)."""
    if len(head) < at + 4 or head[at] != 0xFF or head[at + 1] & 0xE0 != 0xE0:
        return 0
    version, layer = (head[at + 1] >> 3) & 3, 4 - ((head[at + 1] >> 1) & 3)
    bitrate, rate = head[at + 2] >> 4, (head[at + 2] >> 2) & 3
    if version == 1 or layer == 4 or rate == 3 or bitrate in (0, 15):
        return 0
    family = 1 if version == 3 else 2
    rate_hz = (44100, 48000, 32000)[rate] >> {3: 0, 2: 1, 0: 2}[version]
    bits_s = _MPEG_BITRATES[family, layer][bitrate] * 1000
    padding = (head[at + 2] >> 1) & 1
    if layer == 1:
        return (12 * bits_s // rate_hz + padding) * 4
    return (72 if family == 2 and layer == 3 else 144) * bits_s // rate_hz + padding


def _adts_length(head: bytes, at: int) -> int:
    """Return the length of an ADTS frame at `at`, 0 if there is none (ISO/IEC 13818-7, 6.2)."""
    if len(head) < at + 7 or head[at] != 0xFF or head[at + 1] & 0xF6 != 0xF0:
        return 0
    if (head[at + 2] >> 2) & 15 > 12:
        return 0
    length = ((head[at + 3] & 3) << 11) | (head[at + 4] << 3) | (head[at + 5] >> 5)
    return length if length >= 7 else 0


def _by_frames(head: bytes) -> Found | None:
    """Find MPEG audio or ADTS by two frames in a row (or one that reaches the end)."""
    at = head.find(b"\xff")
    while 0 <= at < 4096:
        for length_of, demuxer in ((_adts_length, "aac"), (_mpeg_length, "mp3")):
            length = length_of(head, at)
            follower = at + length
            if length and (length_of(head, follower) or (at == 0 and follower >= len(head))):
                stated = demuxer == "mp3" and any(
                    word in head[at : at + 200] for word in (b"Xing", b"Info", b"VBRI")
                )
                return Found(demuxer, demuxer, header_duration=stated)
        at = head.find(b"\xff", at + 1)
    return None


def _is_text(head: bytes) -> bool:
    sample = head[:2048]
    if b"\0" in sample:
        return False
    odd = sum(byte < 32 and byte not in (9, 10, 12, 13, 27) for byte in sample)
    return odd == 0 and (sample.isascii() or _is_utf8(sample))


def _is_utf8(sample: bytes) -> bool:
    try:
        sample.decode()
    except UnicodeDecodeError as error:
        return error.start >= len(sample) - 4
    return True


_MAGIC_KINDS = (
    (b"PK\x03\x04", "archive"),
    (b"\x1f\x8b", "archive"),
    (b"7z\xbc\xaf\x27\x1c", "archive"),
    (b"Rar!", "archive"),
    (b"\x89PNG", "picture"),
    (b"\xff\xd8\xff", "picture"),
    (b"GIF8", "picture"),
    (b"%PDF", "document"),
)


def _other_kind(head: bytes) -> str | None:
    for magic, kind in _MAGIC_KINDS:
        if head.startswith(magic):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "picture"
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:4096].lower()
    if start.startswith((b"#extm3u", b"ffconcat", b"[playlist]", b"v=0", b"file ", b"http://", b"https://")):
        return "playlist"
    if start.startswith((b"<?xml", b"<mpd", b"<smil", b"<asx")) and b"<mpd" in start + b"<smil":
        return "playlist"
    if start.startswith((b"<!doctype html", b"<html")):
        return "web_page"
    return "text" if _is_text(head) else None
