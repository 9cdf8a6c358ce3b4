"""A photograph as a phone makes it."""

import io

from PIL import Image


def photo(shade=10):
    """A JPEG as a phone makes it, with a device and a place in it."""
    exif = Image.Exif()
    exif[0x0110] = "pocket telephone"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (2400, 1800), (shade, 120, 60)).save(out, "JPEG", exif=exif)
    return out.getvalue()
