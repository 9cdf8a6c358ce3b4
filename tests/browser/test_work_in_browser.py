"""A job in the browser: formats, checks answered, corrections kept, the known-good clip beside."""

import time

import pytest

from listen.vocabulary import SOUNDS
from tests.browser.walk import (
    choose,
    fits_the_width,
    hear,
    pass_questions,
    says,
    serious,
    settle,
    sign,
    tell_state,
    true_of,
    until,
    upload,
    wait_for_result,
)
from tests.support.encode import FORMATS, encode

pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
pytestmark = pytest.mark.browser

#: One name each for what phones make; all formats are decoded in `tests/decode`.
PHONE_FORMATS = (
    "m4a_aac", "m4a_alac", "mp4_video", "mov_video", "3gp_amr_nb", "3gp_aac", "amr_nb", "ogg_opus", "webm_opus", "mp3", "flac",
    "caf_pcm", "aiff", "wav_24", "wav_f32", "wav_mulaw", "adts_aac",
)  # fmt: skip
#: More than this from opening the page to the next check is too much for a hand with a phone in it.
MOST_TAPS, MOST_S = 6, 60.0


@pytest.fixture(scope="module")
def files():
    from synthetic_audio import draw, render

    scene = render(draw(11, family="normal_brew", split="train"))
    out = []
    for name in PHONE_FORMATS:
        rates = FORMATS[name].rates_hz or (scene.rate_hz,)
        rate_hz = scene.rate_hz if scene.rate_hz in rates else rates[-1]
        import soxr

        samples = soxr.resample(scene.samples[: 3 * scene.rate_hz], scene.rate_hz, rate_hz)
        out.append(
            (f"{name}{'' if name == 'ogg_opus' else FORMATS[name].suffix}", encode(samples, rate_hz, name))
        )
    return out


@pytest.fixture(scope="module")
def hiss_clip():
    from synthetic_audio import draw, render
    from tests.browser.conftest import as_wav

    scene = render(draw(5, family="lasting_hiss", split="train"))
    return as_wav(scene.samples, scene.rate_hz)


def answers(page):
    return page.locator("[class*=st-key-bench_page_next]")


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_every_format_of_a_phone_is_heard(page, files, size):
    pass_questions(page)
    upload(page, *files)
    page.locator(".player .row, .player .empty").first.wait_for(timeout=60_000)
    for name, _ in files:
        page.get_by_text(f": {name}").first.wait_for(timeout=60_000)
    assert page.get_by_role("alert").count() == 0


def test_from_opening_to_the_next_check_in_a_few_taps(page, hiss_clip):
    started = time.monotonic()
    taps = 1
    page.get_by_role("button", name="None of these").click()
    page.locator(".st-key-bench_page_upload input[type=file]").wait_for(state="attached")
    taps += 2  # the upload button, and the file in the phone's own list
    upload(page, ("clip.wav", hiss_clip))
    wait_for_result(page)
    tell_state(page, "Idle at working temperature")
    taps += 3
    answers(page).first.wait_for()
    assert answers(page).locator(".ask").inner_text()
    assert taps <= MOST_TAPS and time.monotonic() - started < MOST_S


def test_an_answer_leads_to_the_next_check_at_once_and_can_be_taken_back(page):
    pass_questions(page)
    page.get_by_role("button", name="A hiss that stays").click()
    wait_for_result(page)
    first = answers(page).locator(".ask").inner_text()
    answers(page).get_by_role("button", name="No", exact=True).click()
    page.get_by_text("Answered so far: 1").wait_for()
    settle(page)
    assert answers(page).locator(".ask").inner_text() != first
    undo = page.get_by_role("button", name="Undo")
    page.get_by_text("Answered so far: 1").click()
    undo.wait_for()
    settle(page)  # the list still unfolds: a tap on what moves may miss it
    undo.click()
    page.wait_for_function("first => document.querySelector('.bp-next .ask')?.innerText === first", arg=first)


def test_an_answer_that_means_danger_stops(page):
    pass_questions(page)
    page.get_by_role("button", name="A hiss that stays").click()
    wait_for_result(page)
    assert "gauge" in answers(page).locator(".ask").inner_text()
    answers(page).get_by_role("button", name="Yes", exact=True).click()
    says(page.locator(".bp-verdict.bp-stop").first, "Do not run the machine")


def test_loop_half_speed_and_the_unusual_moment(page):
    pass_questions(page)
    page.get_by_role("button", name="A hiss that stays").click()
    wait_for_result(page)
    page.get_by_role("button", name="Half speed").click()
    page.get_by_role("button", name="Loop").click()
    page.get_by_role("button", name="Play what is unusual").click()
    audio = page.locator(".player audio.clip")
    true_of(page, ".player audio.clip", "!e.paused")
    assert audio.evaluate("element => element.playbackRate") == 0.5
    assert not audio.evaluate("element => element.paused")
    assert page.locator(".player .looped").is_visible()


def loaded(audio):
    """Address and length in s of a player's sound, once the browser knows them."""
    return audio.evaluate(
        "async e => { if (!(e.duration > 0))"
        " await new Promise(r => e.addEventListener('loadedmetadata', r, {once: true}));"
        " return [e.src, e.duration]; }"
    )


def test_low_hums_can_be_raised(page):
    pass_questions(page)
    page.get_by_role("button", name="A brew").click()
    wait_for_result(page)
    audio = page.locator(".player audio.clip")
    before, length = loaded(audio)
    page.get_by_role("button", name="Raise low hums").click()
    until(page, lambda: audio.evaluate("element => element.src") != before, "the raised sound", 20)
    after, raised = loaded(audio)
    assert after != before
    assert raised == pytest.approx(length, abs=0.1)
    assert page.locator(".player .note").is_visible()


def test_relabel_add_and_keep(page, library, size):
    pass_questions(page)
    page.get_by_role("button", name="A hiss that stays").click()
    wait_for_result(page)
    player = page.locator(".player")
    player.locator(".pencil").first.click()
    player.locator(".editor select").select_option("water_flow")
    player.locator(".row .more", has_text="corrected by you").first.wait_for()
    player.locator(".editor").get_by_role("button", name="Done").click()
    player.get_by_role("button", name="Add a sound that is missing here").click()
    player.locator(".editor select").select_option("beep")
    page.get_by_text("Keep this clip, with 2 corrections").click()
    page.get_by_role("textbox", name="Name of the machine, as the shop calls it").fill(f"front bar {size}")
    sign(page, "Robin")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_text("Kept as a clip of").wait_for()
    assert fits_the_width(page)
    kept = next(clip for clip in library.clips() if clip.added_by == "Robin")
    said = {(label.sound, label.present) for label in library.labels.of(kept.sha256)}
    assert ("water_flow", True) in said and ("beep", True) in said
    assert {sound for sound, present in said if not present} <= set(SOUNDS) and len(said) >= 3
    assert library.opinions(kept.sha256)[0].level == "service"
    page.get_by_role("button", name="Machines").click()
    page.get_by_text("Past clips, what was heard").wait_for()


def test_a_known_good_clip_plays_beside_the_unusual_one(page, library, hiss_clip, size):
    from synthetic_audio import draw, render
    from tests.browser.conftest import as_wav

    scene = render(draw(21 if size == "phone" else 22, family="normal_idle", split="train"))
    machine = library.machines.add(f"window bar {size}", by="Robin").id
    clip = library.add_clip(
        as_wav(scene.samples, scene.rate_hz),
        machine=machine,
        name="good one",
        story=[(0.0, "idle_hot")],
        by="Robin",
    )
    library.mark_good(clip.sha256, by="Robin")
    page.goto(page.url.split("?")[0] + f"?machine={machine}")
    page.get_by_role("button", name="None of these").wait_for()
    pass_questions(page)
    upload(page, ("hiss.wav", hiss_clip))
    wait_for_result(page)
    tell_state(page, "Idle at working temperature")
    good = page.locator(".player .good")
    good.wait_for()
    good.click()
    true_of(page, ".player audio.other", "!e.paused && e.currentTime > 0")
    says(page.locator(".player .note"), "It excuses nothing")


@pytest.mark.parametrize("size", ["phone"], indirect=True)
def test_a_film_shows_its_frames(page, files, size):
    hear(page, next(one for one in files if one[0].startswith("mp4_video")))
    film = page.locator(".player video.film")
    true_of(page, ".player video.film", "e.error !== null || e.readyState > 0")
    # A Chromium without that codec shows no film and says no error; with it the frames stand there.
    if film.evaluate("element => element.error === null && element.videoWidth > 0"):
        film.wait_for(state="visible")
    else:
        film.wait_for(state="hidden")


def test_a_picture_goes_with_the_clip_into_report_and_library(page, library, brew_clip, size):
    from tests.support.photos import photo

    hear(page, ("brew.wav", brew_clip))
    page.get_by_text("Add pictures").click()
    page.locator(".st-key-bench_page_pictures_form input[type=file]").set_input_files(
        [{"name": "gauge.jpg", "mimeType": "image/jpeg", "buffer": photo(60 if size == "phone" else 90)}]
    )
    page.get_by_text("Pictures: 1").wait_for()
    choose(page, "It shows", "Gauge")
    page.get_by_role("img", name="Gauge").wait_for()
    settle(page)
    assert fits_the_width(page) and serious(page) == []
    with page.expect_download() as given:
        page.get_by_role("button", name="Report with pictures").click()
    report = given.value.path().read_text(encoding="utf-8")
    assert report.count("data:image/jpeg;base64,") == 1 and 'alt="Gauge"' in report
    page.get_by_text("Keep this clip").click()
    page.get_by_role("textbox", name="Name of the machine, as the shop calls it").fill(f"bar in view {size}")
    sign(page, "Sasha")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_text("and 1 picture").wait_for()
    pictures = [one for clip in library.clips() for one in library.pictures.of(clip.sha256)]
    assert [(one.shows, one.added_by) for one in pictures if one.added_by == "Sasha"][-1] == (
        "gauge",
        "Sasha",
    )


def test_a_machines_trend_is_drawn_and_told(page, library, size):
    from listen.pipeline import hear as hear_here
    from listen.types import StoryMark
    from synthetic_audio import draw, render
    from tests.browser.conftest import as_wav

    machine = library.machines.add(f"harbour bar {size}", by="Kim").id
    marks = (StoryMark(0.0, "brew"),)
    for n in range(3):
        scene = render(draw(40 + n + 10 * (size == "desk"), family="normal_brew", split="train"))
        data = as_wav(scene.samples, scene.rate_hz)
        kept = library.add_clip(
            data, machine=machine, name=f"brew {n}", story=marks, by="Kim", recorded_at=f"2026-0{n + 1}-05",
            report=hear_here(data, name=f"brew {n}", marks=marks),
        )  # fmt: skip
        if n < 2:
            library.mark_good(kept.sha256, by="Kim")
    page.goto(f"{page.url.split('?')[0]}?view=machines&machine={machine}")
    plot = page.locator(".bp-trend .plot")
    plot.wait_for()
    settle(page)
    rows = page.locator(".bp-trend tbody tr")
    assert rows.count() == plot.locator(".spot").count() >= 2
    assert (
        "2026-0" in rows.first.inner_text() and "known good" in page.locator(".bp-trend table").inner_text()
    )
    boxes = [spot.bounding_box() for spot in plot.locator(".spot").all()]
    frame = plot.bounding_box()
    assert all(frame["x"] <= box["x"] + 8 <= frame["x"] + frame["width"] for box in boxes)
    assert fits_the_width(page) and serious(page) == []
