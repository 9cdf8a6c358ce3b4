"""More ways to damage a recording: lists that name a neighbour, cover art, archives, nested containers.

Beside :mod:`tests.support.hostile`, for the long run of `tests.measure.fuzz`. Files
that name another file name one that is really there, so that a decoder which
followed them would be seen.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from struct import pack

from support.hostile import MUTATORS, Rng, seeds

#: The neighbour that lists and references point at.
NEIGHBOUR = "neighbour.wav"


def list_of_files(data: bytearray, rng: Rng, folder: str) -> bytes:
    """A playlist, manifest or script in one of many tongues, alone or before a recording."""
    there = f"{folder}/{NEIGHBOUR}"
    lists = (
        f"#EXTM3U\n#EXTINF:2,\n{there}\n#EXT-X-ENDLIST\n",
        f"#EXTM3U\n#EXT-X-MAP:URI=\"file://{there}\"\n#EXTINF:2,\nfile://{there}\n",
        f"ffconcat version 1.0\nfile '{there}'\n",
        f"[playlist]\nFile1={there}\nNumberOfEntries=1\n",
        f"<?xml version='1.0'?><MPD><Period><AdaptationSet><Representation><BaseURL>{there}</BaseURL></Representation>"
        "</AdaptationSet></Period></MPD>",
        f"<asx version='3.0'><entry><ref href='{there}'/></entry></asx>",
        f"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\na=control:{there}\nm=audio 5004 RTP/AVP 0\n",
        f"concat:{there}|{there}",
        f"amovie={there}\n",
        f"RTSPtextRTSP://{there}",
    )  # fmt: skip
    text = lists[int(rng.integers(0, len(lists)))].encode()
    lead = (b"", b"\xef\xbb\xbf", b"\n\n", b"ID3\x04\0\0\0\0\0\0")[int(rng.integers(0, 4))]
    return lead + text + (bytes(data) if rng.random() < 0.4 else b"")


def outside_reference(data: bytearray, rng: Rng, folder: str) -> bytes:
    """A QuickTime movie whose data reference names a file of this machine (QuickTime File Format, `dref`)."""

    def box(kind: bytes, *parts: bytes) -> bytes:
        body = b"".join(parts)
        return pack(">I4s", 8 + len(body), kind) + body

    there = f"file://{folder}/{NEIGHBOUR}\0".encode()
    kind = (b"url ", b"urn ", b"alis", b"rsrc")[int(rng.integers(0, 4))]
    reference = box(b"dref", pack(">II", 0, 1), box(kind, pack(">I", 0), there))
    head = bytes(data)
    at = head.find(b"dref")
    if head[4:8] == b"ftyp" and at > 4:
        size = int.from_bytes(head[at - 4 : at], "big")
        return head[: at - 4] + reference + head[at - 4 + size :]
    return box(b"ftyp", b"qt  \0\0\0\0qt  ") + box(
        b"moov", box(b"trak", box(b"mdia", box(b"minf", box(b"dinf", reference))))
    )


def cover_art(data: bytearray, rng: Rng, folder: str) -> bytes:
    """A picture tag that lies about its kind and size, a large one, or one that claims to be a vast picture."""
    side = int(rng.choice([1, 64_000, 2**31 - 1]))
    row = zlib.compress(b"\0" * int(rng.integers(10, 3_000_000)))
    ihdr = b"IHDR" + pack(">II", side, side) + b"\x08\x02\0\0\0"
    picture = b"\x89PNG\r\n\x1a\n" + pack(">I", 13) + ihdr + pack(">I", zlib.crc32(ihdr))
    picture += pack(">I", len(row)) + b"IDAT" + row + pack(">I", zlib.crc32(b"IDAT" + row))
    said = len(picture) if rng.random() < 0.5 else int(rng.integers(0, 2**28))
    body = b"\0image/png\0\x03\0" + picture
    frame = b"APIC" + bytes((said >> s) & 127 for s in (21, 14, 7, 0)) + b"\0\0" + body
    total = bytes((len(frame) >> s) & 127 for s in (21, 14, 7, 0))
    return b"ID3\x04\0\0" + total + frame + bytes(data)


def archive(data: bytearray, rng: Rng, folder: str) -> bytes:
    """A packed archive (one of them a bomb), bare, after the head of a recording or with a recording in it."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(f"../../{NEIGHBOUR}", bytes(data))
        if rng.random() < 0.5:
            file.writestr("large.wav", b"RIFF\xff\xff\xff\xffWAVE" + b"\0" * 4_000_000)
    whole = packed.getvalue()
    shape = int(rng.integers(0, 3))
    if shape == 0:
        return whole
    return bytes(data) + whole if shape == 1 else bytes(data[: int(rng.integers(4, 64))]) + whole


def nested(data: bytearray, rng: Rng, folder: str) -> bytes:
    """A whole recording as the sound of another: as WAVE samples, as a Matroska or Ogg payload."""
    inner = bytes(data)
    shape = int(rng.integers(0, 3))
    if shape == 0:
        head = b"WAVEfmt " + pack("<IHHIIHH", 16, 1, 1, 8000, 16000, 2, 16) + b"data" + pack("<I", len(inner))
        return b"RIFF" + pack("<I", len(head) + len(inner)) + head + inner
    outer = bytearray(seeds()["mka_flac" if shape == 1 else "ogg_opus"])
    at = int(rng.integers(40, len(outer)))
    return bytes(outer[:at]) + inner + bytes(outer[at:])


def telling_metadata(data: bytearray, rng: Rng, folder: str) -> bytes:
    """Thousands of tags, or one of megabytes, full of what other programs might obey."""
    obey = b"<script>alert(1)</script>';DROP TABLE clips;--=cmd|'/c calc'!A1$(id)`id`../../%00\xff\xfe\x1b[2J"
    n = int(rng.integers(1, 4000))
    frames = b"".join(b"TXXX" + pack(">I", len(obey) + 2) + b"\0\0\0" + obey + b"\0" for _ in range(n))
    total = bytes((len(frames) >> s) & 127 for s in (21, 14, 7, 0))
    if data[:4] == b"RIFF":
        info = b"INFO" + b"".join(b"INAM" + pack("<I", len(obey)) + obey for _ in range(n))
        return bytes(data[:12]) + b"LIST" + pack("<I", len(info)) + info + bytes(data[12:])
    return b"ID3\x03\0\0" + total + frames + bytes(data)


MORE = (list_of_files, outside_reference, cover_art, archive, nested, telling_metadata)


def all_hostile_files(n: int, seed: int, folder: str):
    """Yield mutation, format and bytes of `n` hostile files; any of them can be made again by itself."""
    import numpy as np

    names = list(seeds())
    kinds = (*MUTATORS, *MORE)
    for number in range(n):
        rng = np.random.default_rng((seed, number))
        name, mutate = names[number % len(names)], kinds[(number // len(names)) % len(kinds)]
        data = bytearray(seeds()[name])
        yield mutate.__name__, name, mutate(data, rng, folder) if mutate in MORE else mutate(data, rng)
