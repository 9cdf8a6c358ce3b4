"""Damage real files of every format, reproducibly: the hostile clips of tests and of the fuzz script."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from functools import cache

import numpy as np
from support.encode import FORMATS, amr_wb, encode, tone, video_without_sound, wav

Rng = np.random.Generator


@cache
def seeds() -> dict[str, bytes]:
    """Return one good file of every format."""
    rng = np.random.default_rng(11)
    files = {"amr_wb": amr_wb(1.0), "video": video_without_sound(), "wav_float": wav(tone(8_000, 1.0), 8_000)}
    for name, form in FORMATS.items():
        rate_hz = (form.rates_hz or (16_000,))[0]
        channels = 1 if form.mono_only else 2
        sound = tone(rate_hz, 1.0, channels=channels) + rng.normal(0, 0.01, (channels, rate_hz))
        files[name] = encode(sound, rate_hz, name, metadata={"title": "t" * 60})
    return files


#: First bytes of other kinds of file, and of recordings that do not follow.
HEADS = (
    b"PK\x03\x04\x14\0\0\0\x08\0",
    b"%PDF-1.7\n",
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
    b"#EXTM3U\n/etc/hostname\n",
    b"ffconcat version 1.0\nfile other.wav\n",
    b"\x7fELF\x02\x01\x01",
    b"\xff\xd8\xff\xe0",
    b"GIF89a",
    b"<?xml version='1.0'?><MPD/>",
    b"#!AMR\n",
    b"OggS\0\x02",
    b"RIFF\xff\xff\xff\xffWAVE",
    b"fLaC\0\0\0\x22",
    b"caff\0\x01\0\0",
    b"FORM\0\0\0\0AIFF",
    b"\x1aE\xdf\xa3\x9fB\x86\x81",
    b"\0\0\0\x18ftypM4A ",
    b"\xff\xfb\x90\x64",
    b"\xff\xf1\x50\x80",
    b".snd\0\0\0\x18",
    b"RF64\xff\xff\xff\xffWAVE",
    b"ID3\x04\0\0\x7f\x7f\x7f\x7f",
)


def flip_bits(data: bytearray, rng: Rng) -> bytes:
    for at in rng.integers(0, len(data), rng.integers(1, 60)):
        data[at] ^= 1 << rng.integers(0, 8)
    return bytes(data)


def flip_head(data: bytearray, rng: Rng) -> bytes:
    for at in rng.integers(0, min(400, len(data)), rng.integers(1, 12)):
        data[at] = rng.integers(0, 256)
    return bytes(data)


def truncate(data: bytearray, rng: Rng) -> bytes:
    return bytes(data[: rng.integers(0, len(data))])


def lose_the_middle(data: bytearray, rng: Rng) -> bytes:
    a, b = sorted(rng.integers(0, len(data), 2))
    return bytes(data[:a] + data[b:])


def lie_about_sizes(data: bytearray, rng: Rng) -> bytes:
    """Overwrite 32-bit words of the head with sizes that cannot be."""
    for at in rng.integers(0, max(1, min(600, len(data) - 4)), rng.integers(1, 5)):
        order = ("little", "big")[rng.integers(0, 2)]
        value = int(rng.choice([0, 1, 7, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFFFF00, 1 << 24]))
        data[at : at + 4] = value.to_bytes(4, order)
    return bytes(data)


def splice(data: bytearray, rng: Rng) -> bytes:
    """Head of one format, body of another."""
    files = list(seeds().values())
    other = files[rng.integers(0, len(files))]
    return bytes(data[: rng.integers(4, len(data))]) + other[rng.integers(0, len(other)) :]


def append(data: bytearray, rng: Rng) -> bytes:
    files = list(seeds().values())
    return bytes(data) + files[rng.integers(0, len(files))]


def bury_in_metadata(data: bytearray, rng: Rng) -> bytes:
    """A large, partly lying tag or unknown chunk before the sound."""
    filler = rng.bytes(64) * 20_000
    size = len(filler) if rng.random() < 0.5 else int(rng.integers(0, 1 << 28))
    if data[:4] == b"RIFF":
        return bytes(data[:12]) + b"JUNK" + size.to_bytes(4, "little") + filler + bytes(data[12:])
    if data[4:8] == b"ftyp":
        return bytes(data[:28]) + ((size + 8) & 0xFFFFFFFF).to_bytes(4, "big") + b"udta" + filler + data[28:]
    length = bytes((size >> shift) & 127 for shift in (21, 14, 7, 0))
    return b"ID3\x04\0\0" + length + filler + bytes(data)


def disguise(data: bytearray, rng: Rng) -> bytes:
    """Other kinds of file with the first bytes of a recording, or the other way round."""
    head = HEADS[rng.integers(0, len(HEADS))]
    if rng.random() < 0.5:
        return head + bytes(data[rng.integers(0, 64) :])
    return head + zlib.compress(rng.bytes(3000))


def repeat_and_nest(data: bytearray, rng: Rng) -> bytes:
    """Boxes in boxes in boxes, or one chunk a thousand times."""
    if rng.random() < 0.5:
        inner = bytes(data[:2000])
        for _ in range(int(rng.integers(10, 300))):
            inner = (len(inner) + 8).to_bytes(4, "big") + b"moov" + inner
        return b"\0\0\0\x14ftypqt  \0\0\0\0qt  " + inner
    part = bytes(data[: rng.integers(8, 200)])
    return part * int(rng.integers(2, 3000))


def impossible_values(data: bytearray, rng: Rng) -> bytes:
    """A float WAVE of arbitrary bit patterns, with arbitrary rate and channels."""
    made = bytearray(wav(rng.integers(0, 2**32, 16_000, dtype=np.uint32).view(np.float32), 8_000))
    if rng.random() < 0.5:
        made[22:24] = int(rng.choice([0, 1, 2, 9, 255, 65_535])).to_bytes(2, "little")
    if rng.random() < 0.5:
        made[24:28] = int(rng.choice([0, 1, 100, 2**31 - 1, 2**32 - 1])).to_bytes(4, "little")
    return bytes(made)


MUTATORS: tuple[Callable[[bytearray, Rng], bytes], ...] = (
    flip_bits,
    flip_head,
    truncate,
    lose_the_middle,
    lie_about_sizes,
    splice,
    append,
    bury_in_metadata,
    disguise,
    repeat_and_nest,
    impossible_values,
)


def hostile_files(n: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of `n` hostile files."""
    rng = np.random.default_rng(seed)
    names = list(seeds())
    for number in range(n):
        name = names[number % len(names)]
        mutate = MUTATORS[int(rng.integers(0, len(MUTATORS)))]
        yield f"{number}-{mutate.__name__}-{name}", mutate(bytearray(seeds()[name]), rng)
