"""Telling a format from its bytes: right on every format, bounded on any bytes."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from support.encode import FORMATS, encode, tone

from listen.decode.sniff import Found, NotAClip, sniff
from listen.decode.source import clean_name
from listen.decode.words import sentence
from listen.errors import UnreadableClip

DEMUXERS = {"ipod": "mov", "mp4": "mov", "3gp": "mov", "webm": "matroska", "adts": "aac", "OGG": "ogg"}


def sniff_bytes(data: bytes) -> tuple[Found, int]:
    """Return what is found and how many bytes were read for it."""
    read = []

    def read_at(offset: int, size: int) -> bytes:
        part = data[offset : offset + size]
        read.append(len(part))
        return part

    return sniff(read_at, len(data)), sum(read)


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_is_known_and_whole(name):
    rate_hz = (FORMATS[name].rates_hz or (8_000,))[0]
    found, n_read = sniff_bytes(encode(tone(rate_hz, 1.0), rate_hz, name))
    muxer = FORMATS[name].muxer
    assert found.demuxer == DEMUXERS.get(muxer, muxer)
    assert found.cut_share is None
    assert n_read < 300_000


MAGICS = [
    b"RIFF????WAVE", b"FORM????AIFF", b"caff\0\1\0\0", b"OggS", b"ID3\4\0\0", b"\0\0\0\0ftypqt  ",
    b"\0\0\0\1mdat",
    b"\x1aE\xdf\xa3", b".snd", b"\xff\xfb\x90\x64", b"\xff\xf1\x50\x80", b"#!AMR\n", b"",
]  # fmt: skip


@given(head=st.sampled_from(MAGICS), body=st.binary(max_size=300))
@example(head=b"ID3\4\0\0", body=b"\x7f\x7f\x7f\x7f")
@example(head=b"RIFF????WAVE", body=b"\0" * 200)
def test_any_bytes_are_found_or_refused(head, body):
    data = head + body
    try:
        found, n_read = sniff_bytes(data)
    except NotAClip as error:
        with pytest.raises(UnreadableClip):
            raise sentence(error.kind, "x") from error
        return
    assert found.demuxer in {
        "wav",
        "w64",
        "aiff",
        "caf",
        "flac",
        "ogg",
        "au",
        "matroska",
        "amr",
        "mov",
        "aac",
        "mp3",
    }
    assert found.cut_share is None or 0.0 <= found.cut_share < 1.0
    assert n_read < 1_000_000


@given(st.text(max_size=300))
def test_any_name_becomes_one_short_plain_line(name):
    shown = clean_name(name)
    assert 1 <= len(shown) <= 80
    assert shown.isprintable()
    assert shown == shown.strip()


def test_share_that_is_there_of_a_cut_wave_file():
    data = encode(tone(8_000, 1.0), 8_000, "wav_16")
    header = data.find(b"data") + 8
    found, _ = sniff_bytes(data[: header + 4_000])
    assert found.cut_share == pytest.approx(0.25)
