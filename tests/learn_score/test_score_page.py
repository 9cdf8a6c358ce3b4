"""The sheet as text, card and page: the same figures everywhere, nothing fetched, nothing taken as markup."""

import html.parser
import json

import pytest

from listen.learn.score import score_set
from listen.learn.score.page import render_page
from listen.learn.score.sheet import as_sheet, missing_set
from listen.learn.score.table import (
    counts_text,
    figure,
    summary,
    value_text,
)
from tests.learn_score.made import clip, event, heard, label, random_pairs

MODEL = {"version": "7", "trained_on": "nothing real", "sha256": "ab" * 32}


@pytest.fixture(scope="module")
def sheet():
    pairs = random_pairs("hiss", 1)
    odd = clip(
        [label("click", 1, 1.1)],
        name="<script>alert(1)</script>",
        family="blast",
        verdict="abnormal",
        carries=True,
    )
    pairs.append((odd, heard([event("click", 4, 4.1)], verdict="normal", level="fine")))
    sets = {
        "scenes": score_set(pairs, about="made by hand"),
        "phones": missing_set("phones", "its list is not there"),
    }
    apart = {
        "about": "side by side",
        "sounds": {
            "hiss": {"real_recordings": 2, "synthetic_recordings": 3, "not_given": "few", "differ_most": []}
        },
    }
    made = as_sheet(sets, model=MODEL, short=True, realness=apart)
    made["sets"]["scenes"]["misses"][0]["file"] = "clips/scenes-012.flac"
    return json.loads(json.dumps(made))


class Tags(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.links = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("src", "href")]


def test_page_is_self_contained_and_escapes_names(sheet):
    page = render_page(sheet)
    tags = Tags()
    tags.feed(page)
    assert (
        "script" not in tags.tags and "link" not in tags.tags and "svg" in tags.tags and "audio" in tags.tags
    )
    assert set(tags.links) == {"clips/scenes-012.flac", "#scenes", "#phones", "#realness"}
    assert "http" not in page.replace("http-equiv", "")
    assert "&lt;script&gt;" in page


def test_page_shows_the_figures_of_the_sheet(sheet):
    page = render_page(sheet)
    row = sheet["sets"]["scenes"]["sounds"]["hiss"]
    for part in ("precision", "recall", "f1", "average_precision"):
        assert value_text(row[part]) in page and counts_text(row[part]) in page
    assert figure(row["recall"]) == f"{value_text(row['recall'])} ({counts_text(row['recall'])})"
    assert "its list is not there" in page and "made by hand" in page
    assert "Short form" in page


def test_drawn_marks_stand_where_the_figures_say(sheet):
    from listen.learn.score import plots
    from listen.learn.score.table import by_score

    part = sheet["sets"]["scenes"]
    rows = plots.bar_rows(by_score(part), part["too_few"])
    hiss = next(r for r in rows if r["word"] == "hiss")
    assert (hiss["at"] - plots.LEFT) / plots.WIDTH == pytest.approx(
        part["sounds"]["hiss"]["f1"]["value"], abs=1e-3
    )
    assert hiss["low"] < hiss["at"] < hiss["high"]
    points = plots.reliability_points(part["calibration"]["noise"]["reliability"])
    assert points and all(p["high"] <= p["y"] <= p["low"] for p in points)


def test_summary_keeps_sets_apart_and_fits_a_terminal(sheet):
    text = summary(sheet)
    assert text.index("SCENES") < text.index("PHONES") < text.index("SYNTHETIC AGAINST REAL")
    assert "not scored: its list is not there" in text
    assert "hiss" in text and "unfamiliar sounds: not measured" in text
    assert max(len(line) for line in text.splitlines()) <= 120
