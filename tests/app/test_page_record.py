"""Recording: what the browser hands over, recipes behind the questions, marks that become the story."""

import base64
import io
import wave

import bench_page_record as record
import numpy as np
import pytest

from listen.bench.protocol import load_protocol
from tests.app.walk import button, by_label, text_of

RATE_HZ = 48_000


def sent(duration_s=1.0, rate_hz=RATE_HZ, **changes):
    tone = 0.25 * np.sin(2 * np.pi * 120 * np.arange(int(duration_s * rate_hz)) / rate_hz)
    pcm = np.round(tone * 32767).astype("<i2").tobytes()
    value = {
        "pcm": base64.b64encode(pcm).decode(), "n": len(pcm) // 2, "rate_hz": rate_hz, "marks": [],
        "settings": {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False},
    }  # fmt: skip
    return value | changes


def test_a_take_is_the_samples_that_were_sent():
    take = record.read_take(sent(marks=[{"at_s": 0.5, "word": "brew_on"}]))
    with wave.open(io.BytesIO(take.wav)) as reader:
        assert (reader.getframerate(), reader.getnchannels(), reader.getnframes()) == (RATE_HZ, 1, RATE_HZ)
        samples = np.frombuffer(reader.readframes(RATE_HZ), "<i2") / 32767
    assert np.sqrt(np.mean(samples**2)) == pytest.approx(0.25 / np.sqrt(2), rel=1e-3)
    assert [(mark.at_s, mark.word) for mark in take.marks] == [(0.5, "brew_on")]
    assert take.left_on == ()


@pytest.mark.parametrize(
    "change",
    [
        {"pcm": "no base64!"}, {"pcm": ""}, {"n": 7}, {"rate_hz": 1000}, {"rate_hz": "fast"}, {"pcm": None},
        {"rate_hz": 500_000}, {"n": None},
    ],
    ids=str,
)  # fmt: skip
def test_what_is_no_recording_is_refused(change):
    assert record.read_take(sent() | change) is None


def test_under_half_a_second_and_over_the_longest_are_refused():
    assert record.read_take(sent(0.4)) is None
    assert record.read_take(sent(record.LONGEST_S + 2, rate_hz=8000)) is None
    assert record.read_take(sent(90.0)).duration_s == 90.0


def test_marks_that_make_no_sense_are_left_out_and_late_ones_end_with_the_clip():
    marks = [{"at_s": float("nan"), "word": "brew_on"}, {"at_s": 0.1, "word": "explode"}, "x", {"at_s": True, "word": "brew"}]  # fmt: skip
    take = record.read_take(
        sent(marks=[*marks, {"at_s": 99, "word": "brew_off"}, {"at_s": -1, "word": "brew_on"}])
    )
    assert [(mark.at_s, mark.word) for mark in take.marks] == [(1.0, "brew_off"), (0.0, "brew_on")]


def test_a_flag_that_stayed_on_is_known():
    take = record.read_take(sent(settings={"noiseSuppression": True, "autoGainControl": False, "junk": [1]}))
    assert take.left_on == ("noiseSuppression",)
    assert "junk" not in dict(take.settings)


@pytest.fixture
def recorder(monkeypatch):
    """Hand over what a test puts in, once, as the browser does; returns what the recorder was given."""
    given, drawn = [], []

    def component_value(data, key):
        drawn.append(data)
        return given.pop() if given else None

    monkeypatch.setattr(record, "component_value", component_value)
    return given, drawn


def start(page):
    button(page, "None of these").click()
    page.run()
    assert not page.exception


def choose_recipe(page, slug):
    by_label(page.selectbox, "What will you record?").set_value(slug).run()
    assert not page.exception


def test_no_recorder_before_the_questions_nor_beside_a_stop(page, recorder):
    assert recorder[1] == []
    page.checkbox[0].check().run()
    assert recorder[1] == []


def test_a_recording_is_heard_with_the_marks_tapped_meanwhile(page, ear, recorder):
    start(page)
    recorder[0].append(sent(2.0, marks=[{"at_s": 1.2, "word": "brew_on"}]))
    page.run()
    assert not page.exception
    assert ear[-1]["name"].startswith("Recording")
    assert [(mark.at_s, mark.word) for mark in ear[-1]["marks"]] == [(1.2, "brew_on")]
    assert ear[-1]["data"][:4] == b"RIFF"


def test_each_recipe_shows_its_steps_and_cautions(page, recorder):
    start(page)
    for step in load_protocol().steps:
        if step.seconds > record.LONGEST_S:
            continue
        choose_recipe(page, step.slug)
        said = text_of(page).replace("&#39;", "'")
        assert step.do[0] in said and step.cautions[0] in said and step.stop_if[0] in said
        assert recorder[1][-1]["seconds"] == step.seconds


def test_a_recipe_tells_the_state_where_nobody_acts(page, ear, recorder):
    start(page)
    choose_recipe(page, "idle")
    recorder[0].append(sent(2.0))
    page.run()
    assert [(mark.at_s, mark.word) for mark in ear[-1]["marks"]] == [(0.0, "idle_hot")]


def test_a_recipe_with_actions_tells_nothing_that_was_not_tapped(page, ear, recorder):
    start(page)
    choose_recipe(page, "brew")
    recorder[0].append(sent(2.0))
    page.run()
    assert ear[-1]["marks"] == ()


def test_the_room_alone_is_kept_for_the_next_clip(page, ear, recorder):
    start(page)
    choose_recipe(page, "off")
    recorder[0].append(sent(2.0))
    page.run()
    assert not page.exception
    assert ear == []  # nothing to judge: no machine was on
    assert "The room alone is recorded" in text_of(page)
    choose_recipe(page, "idle")
    recorder[0].append(sent(3.0))
    page.run()
    assert not page.exception
    assert {call["marks"][0].word for call in ear} == {"idle_hot", "off_at_wall"}


def test_processing_left_on_is_said_beside_the_result(page, recorder):
    start(page)
    recorder[0].append(sent(2.0, settings={"noiseSuppression": True}))
    page.run()
    assert "noise suppression" in text_of(page)


def test_a_broken_take_is_said_and_can_be_made_again(page, ear, recorder):
    start(page)
    recorder[0].append(sent() | {"n": 3})
    page.run()
    assert "did not arrive whole" in text_of(page) and ear == []
