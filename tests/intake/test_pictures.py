"""Pictures of strangers are drawn anew, without place and device, or refused."""

import io
import zlib

import pytest
from PIL import Image

from listen.errors import UnreadableClip
from listen.intake.pictures import LONGEST_SIDE, looks_like_picture, redrawn


def test_a_picture_loses_place_and_device(jpeg):
    assert b"a maker" in jpeg
    out = redrawn(jpeg)
    assert b"a maker" not in out and b"Exif" not in out
    with Image.open(io.BytesIO(out)) as picture:
        assert max(picture.size) == LONGEST_SIDE
        assert not picture.getexif()


def test_a_bomb_is_refused_by_its_size():
    head = b"\x89PNG\r\n\x1a\n"
    size = (60000).to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    chunk = b"IHDR" + size
    bomb = head + (13).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    with pytest.raises(UnreadableClip, match="JPEG or PNG"):
        redrawn(bomb + b"\x00" * 100)


@pytest.mark.parametrize("data", [b"", b"\xff\xd8\xff broken", b"GIF8" + bytes(20)])
def test_what_is_no_picture_is_refused_in_a_sentence(data):
    with pytest.raises(UnreadableClip, match="cannot be opened"):
        redrawn(data)


def test_kinds_are_told_by_their_first_bytes(jpeg):
    assert looks_like_picture(jpeg)
    assert looks_like_picture(b"\x00\x00\x00\x18ftypheic" + bytes(8))
    assert not looks_like_picture(b"\x00\x00\x00\x18ftypM4A " + bytes(8))
    assert not looks_like_picture(b"RIFF\x00\x00\x00\x00WAVEfmt ")
