import io
import math

import numpy as np
import pytest

from listen.bench import bundled_machines, load_machine
from listen.crew.jobs import Task
from listen.crew.wire import Broken, pack, receive, send, unpack
from listen.report.to_dict import to_dict
from listen.types import Mains, Quality, Report, SoundEvent, StoryMark
from tests.support import reports


@pytest.mark.parametrize("make", [reports.normal_brew, reports.lasting_hiss, reports.stop_by_gauge])
def test_a_report_comes_out_as_it_went_in(make):
    stream = io.BytesIO()
    send(stream, {"report": pack(make())}, b"\x00\nbytes", b"")
    stream.seek(0)
    head, blobs = receive(stream)
    back = unpack(Report, head["report"])
    assert back == make()
    assert to_dict(back) == to_dict(make())
    assert blobs == [b"\x00\nbytes", b""]


@pytest.mark.parametrize("name", bundled_machines())
def test_every_machine_comes_out_as_it_went_in(name):
    task = Task(
        "a.wav", load_machine(name), 50, (StoryMark(1.0, "brew_on"),), {"boiler": 1.1}, "said", {"a": "no"}
    )
    assert unpack(Task, pack(task)) == task


def test_numbers_of_numpy_and_infinite_levels_travel():
    quality = Quality(True, (np.float64(40.0), 15000), np.float32(0.0), -math.inf, -20.0)
    event = SoundEvent("e1", "hiss", 0.0, 1.0, np.float64(0.5), {"level_db": np.float32(6.0)})
    stream = io.BytesIO()
    send(stream, {"q": pack(quality), "e": pack(event), "m": pack(Mains(None, "unknown"))})
    stream.seek(0)
    head, _ = receive(stream)
    back = unpack(Quality, head["q"])
    assert back == quality and type(back.band_hz[1]) is float
    assert unpack(SoundEvent, head["e"]).measures["level_db"] == 6.0
    assert unpack(Mains, head["m"]) == Mains(None, "unknown")


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"{}\n", b"[]\n", b'{"blobs": [4]}\nabc', b'{"blobs": "x"}\n', b"\xff\xfe\n"],
)
def test_nonsense_is_told_from_an_answer(data):
    with pytest.raises(Broken):
        receive(io.BytesIO(data))


@pytest.mark.parametrize(
    "value",
    [None, [], "x", {"hz": 50}, {"hz": "50", "source": "heard"}, {"hz": 50, "source": "heard", "run": "x"}],
)
def test_what_is_no_noun_of_ours_is_refused(value):
    with pytest.raises(Broken):
        unpack(Mains, value)
