"""The sheet as text, card and page: the same figures everywhere, nothing fetched, nothing taken as markup."""

import html.parser
import json
import re
from pathlib import Path

import pytest

from listen.errors import BadParameter
from listen.learn.score import score_set
from listen.learn.score.page import render_page
from listen.learn.score.sheet import as_sheet, missing_set
from listen.learn.score.table import BEGIN, END, card_table, figure, fill_card, summary
from listen.resources import shipped
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
    assert tags.links and set(tags.links) == {"clips/scenes-012.flac"}
    assert "http" not in page.replace("http-equiv", "")
    assert "&lt;script&gt;" in page


def test_page_shows_the_figures_of_the_sheet(sheet):
    page = render_page(sheet)
    row = sheet["sets"]["scenes"]["sounds"]["hiss"]
    for part in ("precision", "recall", "f1", "average_precision"):
        assert figure(row[part]) in page
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


def test_card_gets_the_table_between_its_markers(sheet):
    card = f"# Card\n\n{BEGIN}\nstale words\n{END}\n\ntail\n"
    filled = fill_card(card, sheet)
    assert filled.startswith("# Card\n") and filled.endswith("\ntail\n") and "stale" not in filled
    assert fill_card(filled, sheet) == filled
    row = sheet["sets"]["scenes"]["sounds"]["hiss"]
    line = next(x for x in filled.splitlines() if x.startswith("| hiss | span"))
    assert figure(row["f1"]) in line and figure(row["recall"]) in line and f"| {row['recordings']} |" in line


@pytest.mark.parametrize("text", ["no markers", f"{END} {BEGIN}", f"{BEGIN}{BEGIN}{END}"])
def test_a_card_without_markers_is_refused(text, sheet):
    with pytest.raises(BadParameter, match="needs one line"):
        fill_card(text, sheet)


def test_figures_in_card_and_readme_are_those_of_the_shipped_scores():
    """Whatever stands between the markers is rendered from the measured scores beside the model."""
    scores = shipped("models") / "ear" / "scores.json"
    readme = Path(__file__).resolve().parents[2] / "README.md"
    marked = [
        path
        for path in (shipped("models") / "ear" / "CARD.md", readme)
        if path.is_file() and BEGIN in path.read_text(encoding="utf-8")
    ]
    if not scores.is_file():
        assert not marked, (
            f"{marked[0].name} quotes scores, but there are no measured scores beside the model"
        )
        pytest.skip("no scores are shipped with this model")
    sheet = json.loads(scores.read_text(encoding="utf-8"))
    manifest = json.loads((shipped("models") / "ear" / "manifest.json").read_text(encoding="utf-8"))
    assert sheet["model"]["sha256"] == manifest["sha256"], (
        "the scores are those of another model: score again"
    )
    assert not sheet["short"], "the shipped scores are of the short form"
    assert shipped("models") / "ear" / "CARD.md" in marked, "the card lacks its table of scores"
    for path in marked:
        block = re.search(
            re.escape(BEGIN) + r"\n(.*?)" + re.escape(END), path.read_text(encoding="utf-8"), re.S
        )
        assert block is not None and block.group(1) == card_table(sheet), f"{path.name} quotes other figures"
