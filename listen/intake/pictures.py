"""Pictures from strangers: decoded in a limited child and drawn anew, without place, device or date."""

from __future__ import annotations

import io
import subprocess
import sys

from listen.errors import UnreadableClip

LONGEST_SIDE = 1600
_MOST_PIXELS = 60_000_000
_MEMORY_BYTES = 1_200_000_000
_TIME_S = 20
#: First bytes of the kinds that phones make.
_HEADS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"GIF8", b"BM", b"II*\x00", b"MM\x00*")


def looks_like_picture(data: bytes) -> bool:
    """Tell by the first bytes whether a file is a picture; its name is not asked."""
    head = data[:16]
    webp = head[:4] == b"RIFF" and head[8:12] == b"WEBP"
    heif = head[4:8] == b"ftyp" and head[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"avif", b"hevc")
    return head.startswith(_HEADS) or webp or heif


def redrawn(data: bytes) -> bytes:
    """Return a picture as a fresh JPEG, at most 1600 pixels wide or high.

    Raises
    ------
    UnreadableClip
        When it cannot be decoded within the limits.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-m", __name__],
            input=data, capture_output=True, timeout=_TIME_S + 5, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired as error:
        raise UnreadableClip("That picture takes too long to open: send it as a JPEG.") from error
    if done.returncode != 0 or not done.stdout.startswith(b"\xff\xd8\xff"):
        raise UnreadableClip("That picture cannot be opened here: send it as a JPEG or PNG.")
    return done.stdout


def _child() -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (_TIME_S, _TIME_S))
    except ImportError:
        pass  # not on every system; the time limit of the parent holds everywhere
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = _MOST_PIXELS
    data = sys.stdin.buffer.read()
    with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF")) as picture:
        if picture.width * picture.height > _MOST_PIXELS:
            sys.exit(2)
        picture.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    upright.info.clear()
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=85)
    sys.stdout.buffer.write(out.getvalue())


if __name__ == "__main__":
    _child()
