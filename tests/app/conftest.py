import io
import sys
import wave
from dataclasses import fields

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from listen.errors import UnreadableClip
from listen.features.picture import Picture
from listen.report.player import picture_png
from listen.resources import shipped
from tests.support import reports

sys.path.insert(0, str(shipped("app")))


@pytest.fixture(autouse=True)
def fresh_page(monkeypatch, tmp_path):
    """Forget what an earlier test has heard; keep a library of its own."""
    import bench_page_hearing

    monkeypatch.setenv("LISTEN_LIBRARY", str(tmp_path / "library"))
    bench_page_hearing.hear.cache_clear()
    bench_page_hearing.sounds.cache_clear()
    yield


def short_wav(n=8000, rate_hz=8000):
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(rate_hz)
        writer.writeframes(bytes(2 * n))
    return out.getvalue()


@pytest.fixture
def ear(monkeypatch):
    """Answer from hand-made reports by the clip's name; returns what the ear was given."""
    calls = []

    def hear(data, task):
        name = task.name
        calls.append({"data": data, **{f.name: getattr(task, f.name) for f in fields(task)}})
        if name == "letter.txt":
            raise UnreadableClip("letter.txt is not a recording: send the file as the phone made it.")
        make = {"hiss.m4a": reports.lasting_hiss, "stop.m4a": reports.stop_by_gauge}.get(
            name, reports.normal_brew
        )
        picture = Picture(np.zeros((96, 50), np.float32), np.geomspace(40, 15500, 96), 24.0)
        return reports.named(make(), name), picture_png(picture)

    import bench_page_hearing as hearing

    class Crew:
        def __init__(self):
            self.hear = hear

        def play(self, data, name, duration_s, *, higher):
            return short_wav(), b""

    monkeypatch.setattr(hearing, "crew", Crew)
    return calls


@pytest.fixture
def page(ear):
    """Return the page as it opens."""
    app = AppTest.from_file(str(shipped("app") / "page.py"), default_timeout=30).run()
    assert not app.exception
    return app
