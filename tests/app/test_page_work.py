"""A job on the page without a browser: answers, keeping, messages, machines."""

import dataclasses

import bench_page_hearing as hearing
import bench_page_keep as keeping
import numpy as np
import pytest

from listen.bench import first_minute_questions, load_knowledge, next_check
from listen.library import open_library
from listen.report import player as drawing
from listen.types import Cause
from tests.app.test_page_flow import upload
from tests.app.walk import button, by_label, text_of
from tests.support import reports
from tests.support.encode import tone, wav


@pytest.fixture
def library(tmp_path):
    with open_library(tmp_path / "library") as opened:
        yield opened


def go(page, view):
    button(page, view).click()
    page.run()
    assert not page.exception
    return page


def test_the_next_check_stands_above_and_an_answer_moves_on(page, monkeypatch):
    fault = load_knowledge().fault("lasting_hiss")
    finding = dataclasses.replace(
        reports.lasting_hiss().findings[0], code="lasting_hiss", checks=tuple(entry.check for entry in fault.checks),
        causes=tuple(Cause(cause.text, n, id=cause.id) for n, cause in enumerate(fault.causes, start=1)),
    )  # fmt: skip
    report = dataclasses.replace(reports.lasting_hiss(), findings=(finding,))
    monkeypatch.setattr(reports, "lasting_hiss", lambda: report)
    upload(page, "hiss.m4a")
    assert next_check(report).text in text_of(page).replace("&#39;", "'")
    button(page, "Cannot say").click()
    page.run()
    assert not page.exception and "Answered so far: 1" in [one.label for one in page.expander]
    button(page, "Undo").click()
    page.run()
    assert "Answered so far: 1" not in [one.label for one in page.expander]


def sound(duration_s=6.0):
    return wav(tone(16_000, duration_s, hz=300.0)[0], 16_000)


def about(report, data):
    """The report as one about these bytes."""
    sha256 = hearing.make_clip("", data).sha256
    return dataclasses.replace(report, clip=dataclasses.replace(report.clip, sha256=sha256))


def heard_of(report, data):
    return hearing.Heard(hearing.make_clip("clip.wav", data), about(report, data))


def test_corrections_become_labels_and_a_correction_taken_back_goes(library):
    report = reports.lasting_hiss()
    event = report.events[0]
    one = heard_of(report, sound(max(e.offset_s for e in report.events) + 1))
    told = hearing.nothing_told()
    edit = {"sound": "water_flow", "start_s": 1.0, "end_s": 2.0, "present": True, "added": False}
    new = {"sound": "beep", "start_s": 0.5, "end_s": 0.9, "present": True, "added": True}
    said = keeping.keep(one, one.result, told, {event.id: edit, "new-1": new}, by="Kim")
    assert said.startswith("Kept")
    sha256 = one.clip.sha256
    labels = {(label.sound, label.present) for label in library.labels.of(sha256)}
    assert labels == {(event.sound, False), ("water_flow", True), ("beep", True)}
    assert library.clip(sha256).complete_at is None
    keeping.keep(one, one.result, told, {event.id: edit}, by="Kim", complete=True)
    labels = {(label.sound, label.present) for label in library.labels.of(sha256)}
    assert ("beep", True) not in labels and library.clip(sha256).complete_at
    assert {e.sound for e in report.events[1:]} <= {name for name, present in labels if present}


def test_not_this_is_a_label_that_it_is_not_there(library):
    report = reports.lasting_hiss()
    event = report.events[0]
    one = heard_of(report, sound(event.offset_s + 1))
    edit = {"sound": event.sound, "start_s": 0.0, "end_s": 1.0, "present": False, "added": False}
    keeping.keep(one, one.result, hearing.nothing_told(), {event.id: edit}, by="Kim", consent="learn")
    (label,) = library.labels.of(one.clip.sha256)
    assert (label.sound, label.present) == (event.sound, False)
    assert library.clip(one.clip.sha256).consent == "learn"


def test_keeping_asks_who_it_is(page):
    upload(page, "brew.m4a")
    button(page, "Keep").click()
    page.run()
    assert not page.exception and "Say who you are" in text_of(page)


def test_stops_stand_on_top_of_the_messages(page, library):
    library.intake.add(said="it drips a little", sender="Alex")
    question = first_minute_questions()[0]
    stop = library.intake.add(answers={question.id: "yes"}, level="stop", sender="Kim")
    go(page, "Messages")
    said = text_of(page)
    assert said.index("Kim") < said.index("Alex")
    button(page, f"Open {stop.receipt}").click()
    page.run()
    assert question.text in text_of(page).replace("&#39;", "'")


def test_a_message_is_answered_with_a_name_and_can_be_searched(page, library):
    record = library.intake.add(said="a <b>bold</b> hiss", sender="Kim")
    library.intake.add(said="nothing", sender="Alex")
    go(page, "Messages")
    by_label(page.text_input, "Search in names, words, machines, receipts").set_value("hiss").run()
    assert "Alex" not in text_of(page)
    button(page, f"Open {record.receipt}").click()
    page.run()
    assert "<b>bold" not in " ".join(element.proto.body for element in page.get("html"))
    by_label(page.text_area, "Answer (drafted from what was heard; change it as you like)").set_value(
        "Look at the tray."
    )
    button(page, "Answer").click()
    page.run()
    assert "Say who you are" in text_of(page)
    by_label(page.text_input, "Your name").set_value("Robin")
    button(page, "Answer").click()
    page.run()
    assert library.intake.get(record.receipt).answer == "Look at the tray."
    assert "Answered by Robin" in text_of(page)


def test_a_machine_shows_its_past_and_takes_an_outcome(page, library):
    machine = library.machines.add("front bar", by="Robin").id
    clip = library.add_clip(
        sound(2.0),
        machine=machine,
        name="old hiss",
        by="Robin",
        report=about(reports.lasting_hiss(), sound(2.0)),
    )
    go(page, "Machines")
    by_label(page.selectbox, "Machine").set_value(machine).run()
    assert not page.exception and "old hiss" in text_of(page)
    button(page, "Confirm after the repair").click()
    page.run()
    assert "Not kept" in text_of(page)
    by_label(page.text_input, "Part that was at fault").set_value("vacuum valve")
    by_label(page.text_input, "Confirmed by").set_value("Robin")
    button(page, "Confirm after the repair").click()
    page.run()
    assert library.outcomes.of(clip=clip.sha256)[-1].part == "vacuum valve"
    assert "Confirmed: vacuum valve (Robin)" in text_of(page)


def test_voices_are_muted_in_what_is_passed_on():
    original = drawing.playable_wav(sound(3.0), "a.wav", 3.0)
    samples, rate_hz = drawing._samples(drawing.muted_wav(original, [(1.0, 2.0)]))
    assert np.all(samples[rate_hz : 2 * rate_hz] == 0) and np.abs(samples[: rate_hz // 2]).max() > 0.1
