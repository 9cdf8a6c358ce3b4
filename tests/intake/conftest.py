import io

import pytest
from PIL import Image
from starlette.applications import Starlette

from listen.intake.links import Links
from listen.intake.web import CustomerPages
from listen.library import open_library
from tests.support.asgi import ask


@pytest.fixture
def library(tmp_path):
    with open_library(tmp_path / "library") as opened:
        yield opened


@pytest.fixture
def links(library):
    return Links(library.place.home)


@pytest.fixture
def shop(library):
    """The customer's pages on a library of their own; `.news` counts stored messages."""

    class Shop:
        def __init__(self):
            self.news = 0
            self.use()

        def use(self, **limits):
            self.pages = CustomerPages(lambda: library, on_message=self._new, **limits)
            self.app = Starlette(routes=self.pages.routes())

        def _new(self):
            self.news += 1

        def ask(self, url, **more):
            return ask(self.app, url, **more)

    return Shop()


@pytest.fixture
def jpeg():
    """A picture with a place and a device in it."""
    picture = Image.new("RGB", (2400, 1200), "#886644")
    exif = Image.Exif()
    exif[0x010F] = "a maker"
    exif.get_ifd(0x8825)[2] = (52.0, 31.0, 12.0)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()
