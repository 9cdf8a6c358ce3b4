"""The page in a real browser at two sizes: danger, upload to verdict, player, marks, errors."""

import re

import pytest

from listen.bench import first_minute_questions
from listen.report.words import LEVEL_WORDS, VERDICT_WORDS
from tests.browser.walk import (
    fits_the_width,
    hear,
    pass_questions,
    says,
    settle,
    true_of,
    until,
    wait_for_result,
)

expect = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed").expect
pytestmark = pytest.mark.browser


def test_upload_shows_level_verdict_and_time_line(page, brew_clip):
    hear(page, ("voice note", brew_clip))  # as some phones send it: no extension
    card = page.get_by_role("status").filter(has=page.locator(".level"))
    said = card.inner_text().lower()
    assert any(words in said for words in LEVEL_WORDS.values())
    assert any(words in said for words in VERDICT_WORDS.values())
    assert page.locator(".player .spot").count() >= 1
    assert re.fullmatch(r"0:00\.0 of \d:\d\d\.\d", page.locator(".player .time").inner_text())
    expect(page.get_by_text("Never adjust, block or bypass")).to_be_visible()
    assert fits_the_width(page)


def test_the_verdict_stands_on_the_first_screen(page, brew_clip, size):
    hear(page, ("brew.wav", brew_clip))
    box = page.locator(".bp-verdict .level").bounding_box()
    assert box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"]


def started_s(row):
    return float(row.get_attribute("data-start"))


def test_picture_and_sound_arrive_and_a_tap_seeks_and_plays(page, brew_clip):
    media = []
    page.on("response", lambda answer: media.append(answer) if "/media/" in answer.url else None)
    hear(page, ("brew.wav", brew_clip))
    player = page.locator(".player")
    audio = player.locator("audio.clip")
    wanted = {"image/png", "audio/wav"}
    until(page, lambda: {answer.headers["content-type"] for answer in media} >= wanted, "picture and sound")
    true_of(page, ".player audio.clip", "e.readyState > 0")
    row = next(one for one in player.locator(".row[data-start]").all() if started_s(one) > 1.0)
    audio.evaluate("e => e.addEventListener('play', () => { e.dataset.from = e.currentTime; }, {once: true})")
    row.click()
    true_of(page, ".player audio.clip", "e.dataset.from && !e.paused")
    from_s = float(audio.get_attribute("data-from"))
    assert max(started_s(row) - 0.35, 0) <= from_s <= started_s(row) + 0.35
    player.get_by_role("button", name="Pause").click()
    assert audio.evaluate("element => element.paused")

    box = player.locator(".picture").bounding_box()
    player.locator(".picture").click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    middle_s = audio.evaluate("element => element.duration") / 2
    assert audio.evaluate("element => element.currentTime") == pytest.approx(middle_s, abs=1.0)


def test_the_player_obeys_the_keyboard(page, brew_clip):
    hear(page, ("brew.wav", brew_clip))
    picture = page.locator(".player .picture")
    picture.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function(
        "() => { const find = (node) => { for (const child of node.querySelectorAll('*')) {"
        " if (child.matches('.picture')) return child;"
        " if (child.shadowRoot) { const inner = find(child.shadowRoot); if (inner) return inner; } } };"
        " return find(document)?.getAttribute('aria-valuenow') === '2.0'; }"
    )


def test_a_marked_moment_lands_in_the_story_form(page, brew_clip):
    hear(page, ("brew.wav", brew_clip))
    picture = page.locator(".player .picture")
    picture.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.locator(".player .mark").click()
    field = page.get_by_label("At (minutes:seconds)")
    field.wait_for(state="visible")
    expect(field).to_have_value("0:03.0")


@pytest.mark.parametrize("place", [0, 2, 5])
def test_a_yes_shows_the_stop_words_at_once(page, place):
    question = first_minute_questions()[place]
    page.locator(".stCheckbox label").nth(place).click()
    alert = page.get_by_role("alert")
    says(alert, "Stop", "Do not run the machine", question.do[-1].split(". ")[0].rstrip("."))
    settle(page)
    box = alert.bounding_box()
    assert box["y"] >= 0 and box["y"] < page.viewport_size["height"] / 2
    assert fits_the_width(page)


def test_a_file_that_is_no_recording_is_a_sentence_beside_the_others(page, brew_clip):
    hear(page, ("letter.txt", b"Dear technician, the machine hisses.\n" * 20), ("brew.wav", brew_clip))
    expect(page.get_by_role("alert").filter(has_text="letter.txt")).to_be_visible()
    assert "Traceback" not in page.content()


def test_a_demo_clip_is_one_tap_after_the_questions(page):
    pass_questions(page)
    page.get_by_role("button", name="A brew").click()
    wait_for_result(page)
    expect(page.get_by_text("Told: ")).to_be_visible()
    page.get_by_role("button", name="Other clip").click()
    page.locator(".st-key-bench_page_upload input[type=file]").wait_for(state="attached")


def test_the_page_has_its_own_name_and_no_foreign_chrome(page):
    assert page.title() == "Listen"
    for test_id in ("stHeader", "stToolbar", "stDecoration"):
        found = page.locator(f"[data-testid={test_id}]")
        assert found.count() == 0 or not found.first.is_visible()
