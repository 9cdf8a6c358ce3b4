"""The technician's own pictures: beside the clip, in the report, in the library; nothing of place and device."""

import io

import bench_page_hearing as hearing
import bench_page_keep as keeping
import bench_page_pictures as pictures
import pytest
from PIL import Image

from listen.library import open_library
from listen.report import html
from tests.app.test_page_flow import upload
from tests.app.test_page_work import heard_of, sound
from tests.app.walk import button, by_label, text_of
from tests.support import reports
from tests.support.photos import photo

FIELD = "Pictures from the phone, place and device are taken out"


def add(page, *files):
    by_label(page.file_uploader, FIELD).set_value([(name, data, "image/jpeg") for name, data in files])
    page.run()
    assert not page.exception
    return page


def taken(page):
    return page.session_state["bench_page_pictures"]


def test_a_picture_is_drawn_anew_and_told_what_it_shows(page):
    upload(page, "brew.m4a")
    add(page, ("IMG 1.jpg", photo()))
    (one,) = taken(page)
    assert max(Image.open(io.BytesIO(one.jpeg)).size) <= 1600
    assert b"pocket telephone" not in one.jpeg and not Image.open(io.BytesIO(one.jpeg)).getexif()
    by_label(page.selectbox, "It shows").set_value("gauge").run()
    assert "Pictures: 1" in [box.label for box in page.expander]
    assert pictures.PICTURE_WORDS[page.session_state[f"bench_page_picture_shows_{one.id}"]] == "Gauge"


def test_what_is_no_picture_is_said_and_the_others_stay(page):
    upload(page, "brew.m4a")
    add(page, ("letter.txt", b"Dear shop"), ("IMG 2.jpg", photo()))
    assert len(taken(page)) == 1
    assert "letter.txt" in text_of(page) and "That picture cannot be opened here" in text_of(page)


def test_the_same_picture_twice_is_one_and_one_can_be_removed(page):
    upload(page, "brew.m4a")
    add(page, ("a.jpg", photo()), ("b.jpg", photo()), ("c.jpg", photo(200)))
    assert len(taken(page)) == 2
    page.button(key=f"bench_page_picture_gone_{taken(page)[0].id}").click().run()
    assert len(taken(page)) == 1


def test_there_is_an_end_to_pictures(page):
    upload(page, "brew.m4a")
    add(page, *((f"{n}.jpg", photo(20 * n)) for n in range(pictures.MOST + 1)))
    assert len(taken(page)) == pictures.MOST
    assert "pictures are enough for one job" in text_of(page)
    assert FIELD not in [field.label for field in page.file_uploader]


def test_pictures_may_come_before_the_clip_and_go_with_the_job(page):
    button(page, "None of these").click().run()
    add(page, ("IMG 1.jpg", photo()))
    page.file_uploader[0].set_value([("brew.m4a", b"x" * 90, "audio/mp4")])
    page.run()
    assert len(taken(page)) == 1
    button(page, "Other clip").click().run()
    assert taken(page) == []


def test_nothing_to_add_beside_a_stop(page):
    page.checkbox[0].check().run()
    assert FIELD not in [field.label for field in page.file_uploader]


def test_kept_pictures_stand_with_the_clip_in_the_library(tmp_path, monkeypatch):
    report = reports.normal_brew()
    one = heard_of(report, sound(max(e.offset_s for e in report.events) + 1))
    shown = [pictures.Taken("1", pictures.redrawn(photo()), "wet_spot")]
    monkeypatch.setattr(pictures, "taken", lambda: shown)
    said = keeping.keep(one, one.result, hearing.nothing_told(), {}, by="Kim")
    assert said.endswith("and 1 picture.")
    with open_library(tmp_path / "library") as library:
        (kept,) = library.pictures.of(one.clip.sha256)
        assert kept.shows == "wet_spot" and library.pictures.read(kept) == shown[0].jpeg


def test_the_report_holds_the_pictures_and_may_show_nothing_else():
    jpeg = pictures.redrawn(photo())
    with_them = html.render(reports.normal_brew(), [("Gauge", jpeg)])
    assert with_them.count("<img ") == 1 and 'alt="Gauge"' in with_them and "img-src data:" in with_them
    assert "img-src" not in html.render(reports.normal_brew())


@pytest.mark.parametrize("shows", pictures.PICTURES)
def test_every_kind_of_picture_has_its_words(shows):
    assert pictures.PICTURE_WORDS[shows]
