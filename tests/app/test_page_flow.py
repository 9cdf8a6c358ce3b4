"""The page's logic without a browser: what is asked, shown and passed on. The ear is replaced here."""

import re

import pytest

from listen.bench import first_minute_questions
from tests.app.walk import button, by_label, text_of


def upload(app, *names):
    button(app, "None of these").click()
    app.run()
    app.file_uploader[0].set_value([(name, name.encode() * 50, "application/octet-stream") for name in names])
    app.run()
    assert not app.exception
    return app


def test_the_six_questions_come_before_any_upload(page):
    assert [box.label for box in page.checkbox] == [question.text for question in first_minute_questions()]
    assert len(page.checkbox) == 6
    assert len(page.file_uploader) == 0
    assert "Never adjust, block or bypass" in text_of(page)


@pytest.mark.parametrize("place", range(6))
def test_each_yes_is_answered_at_once_without_a_clip(page, ear, place):
    page.checkbox[place].check().run()
    assert not page.exception
    said = text_of(page)
    question = first_minute_questions()[place]
    assert "Stop" in said and "Do not run the machine" in said
    assert "No clip is needed" in said
    # The question's own words of what to do stand on the page.
    assert question.do[-1].rstrip(".").split(". ")[0] in said.replace("&#39;", "'")
    assert ear == []


def test_a_yes_can_be_taken_back(page):
    page.checkbox[0].check().run()
    page.checkbox[0].uncheck().run()
    assert "Do not run the machine" not in text_of(page)
    assert button(page, "None of these")


def test_an_existing_clip_can_be_heard_beside_a_stop_and_the_answers_go_along(page, ear):
    page.checkbox[2].check().run()
    page.file_uploader[0].set_value([("old.m4a", b"x" * 100, "audio/mp4")])
    page.run()
    assert not page.exception
    answers = dict(ear[-1]["answers"])
    assert sorted(answers.values()) == ["unknown"] * 5 + ["yes"]


def test_upload_gives_level_verdict_checks_and_passes_the_answers(page, ear):
    upload(page, "hiss.m4a")
    said = text_of(page)
    assert "Service" in said and "Sounds abnormal" in said
    assert "Keep clear of the top of the machine." in said
    assert "Is the lid or the tray wet?" in said
    assert set(ear[-1]["answers"].values()) == {"no"}
    assert ear[-1]["data"] == b"hiss.m4a" * 50


def test_a_file_without_extension_is_taken(page, ear):
    upload(page, "voice note")
    assert ear[-1]["name"] == "voice note"
    assert "Nothing unusual heard in this clip" in text_of(page)


def test_what_cannot_be_used_is_a_sentence_and_the_others_are_heard(page):
    upload(page, "letter.txt", "brew.m4a")
    said = text_of(page)
    assert "letter.txt is not a recording" in said
    assert "Sounds normal" in said


def test_of_several_clips_the_most_urgent_comes_first(page):
    upload(page, "brew.m4a", "stop.m4a", "hiss.m4a")
    assert "The boiler gauge stands in the red" in text_of(page)
    pills = page.get("button_group")[0]
    assert [option.content for option in pills.proto.options] == [
        "Stop: stop.m4a",
        "Service: hiss.m4a",
        "Fine: brew.m4a",
    ]


def test_machine_story_gauge_and_words_reach_the_ear(page, ear):
    upload(page, "brew.m4a")
    page.selectbox(key="bench_page_machine").select_index(1)
    by_label(page.selectbox, "What was it doing when the clip begins?").set_value("idle_hot")
    page.text_input(key="bench_page_at").set_value("0:03")
    page.selectbox(key="bench_page_what").set_value("brew_on")
    by_label(page.number_input, "Boiler gauge, bar").set_value(1.1)
    page.text_area(key="bench_page_said").set_value("it hisses")
    button(page, "Add").click()
    page.run()
    assert not page.exception
    given = ear[-1]
    assert [(mark.at_s, mark.word) for mark in given["marks"]] == [(0.0, "idle_hot"), (3.0, "brew_on")]
    assert given["gauges"] == {"boiler": 1.1}
    assert given["said"] == "it hisses"
    assert given["machine"].name != "unknown machine"


def test_a_story_told_of_one_clip_never_reaches_another(page, ear):
    upload(page, "brew.m4a", "hiss.m4a")
    by_label(page.selectbox, "What was it doing when the clip begins?").set_value("warm_up")
    by_label(page.number_input, "Boiler gauge, bar").set_value(0.0)
    page.run()
    assert ear[-1]["name"] == "hiss.m4a" and [mark.word for mark in ear[-1]["marks"]] == ["warm_up"]
    for call in ear:
        if call["name"] == "brew.m4a":
            assert call["marks"] == () and call["gauges"] == {}


@pytest.mark.parametrize(
    "at, word, says", [("3 o'clock", "brew_on", "not a time"), ("0:03", None, "Choose what was done")]
)
def test_a_mark_that_cannot_be_is_said_in_words(page, at, word, says):
    upload(page, "brew.m4a")
    page.text_input(key="bench_page_at").set_value(at)
    page.selectbox(key="bench_page_what").set_value(word)
    button(page, "Add").click()
    page.run()
    assert not page.exception
    assert says in text_of(page).replace("&#39;", "'")


def test_a_mark_can_be_removed(page, ear):
    upload(page, "brew.m4a")
    page.text_input(key="bench_page_at").set_value("0:03")
    page.selectbox(key="bench_page_what").set_value("brew_on")
    button(page, "Add").click()
    page.run()
    assert "0:03.0" in text_of(page)
    button(page, "Remove").click()
    page.run()
    assert "0:03.0" not in text_of(page)
    assert [len(call["marks"]) for call in ear] == [0, 1]  # the clip without marks is known already


def test_other_clip_forgets_the_story(page, ear):
    upload(page, "brew.m4a")
    by_label(page.number_input, "Boiler gauge, bar").set_value(1.1)
    page.run()
    button(page, "Other clip").click()
    page.run()
    assert by_label(page.file_uploader, "Recordings or videos from the phone")
    page.file_uploader[0].set_value([("next.m4a", b"y" * 80, "audio/mp4")])
    page.run()
    assert ear[-1]["gauges"] == {} and ear[-1]["name"] == "next.m4a"


def test_the_same_clip_is_not_heard_twice(page, ear):
    upload(page, "brew.m4a")
    n_calls = len(ear)
    page.run()
    assert len(ear) == n_calls


def test_a_hostile_name_stays_text(page):
    upload(page, "<img src=x onerror=alert(1)>.m4a", "brew.m4a")
    html = " ".join(element.proto.body for element in page.get("html"))
    assert "<img" not in html


def test_nothing_on_the_page_says_safe(page):
    upload(page, "brew.m4a")
    assert not re.search(r"\bsafe\b", text_of(page))
