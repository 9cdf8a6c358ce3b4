"""Figures in cards: written between markers, and those that are shipped are those that were measured."""

import json
from pathlib import Path

import pytest

from listen.errors import BadParameter
from listen.learn.score import score_set
from listen.learn.score.card import BLOCKS, blocks_of, fill, marks
from listen.learn.score.sheet import as_sheet, for_keeping, missing_set
from listen.learn.score.table import figure
from listen.resources import shipped
from tests.learn_score.made import random_pairs

EAR = shipped("models") / "ear"
README = Path(__file__).resolve().parents[2] / "README.md"
MODEL = {
    "version": "7", "trained_on": "nothing real", "sha256": "ab" * 32, "bytes": 54_321,
    "heads": {"onsets": {"layers": 3, "labels": ["click", "thump"], "features": ["a", "b", "c"]}},
}  # fmt: skip


@pytest.fixture(scope="module")
def sheet():
    scored = score_set(random_pairs("hiss", 1), about="made by hand")
    scored["misses"][0] |= {"file": "clips/a.flac", "credit": "somebody"}
    sets = {"scenes": scored, "phones": missing_set("phones", "its list is not there")}
    return json.loads(json.dumps(as_sheet(sets, model=MODEL, short=False)))


def card(*blocks):
    return "# Card\n\n" + "\n\n".join(f"{marks(b)[0]}\nstale\n{marks(b)[1]}" for b in blocks) + "\n\ntail\n"


def test_figures_go_between_their_markers(sheet):
    text = fill(card(*BLOCKS), sheet)
    assert text.startswith("# Card\n") and text.endswith("\ntail\n") and "stale" not in text
    assert fill(text, sheet) == text
    held = blocks_of(text)
    row = sheet["sets"]["scenes"]["sounds"]["hiss"]
    line = next(x for x in held["scores"].splitlines() if x.startswith("| hiss | span"))
    assert figure(row["f1"]) in line and figure(row["recall"]) in line and f"| {row['recordings']} |" in line
    short = held["scores in short"].splitlines()
    assert len(short) == 4 and f"hiss {figure(row['f1'])}" in short[2] and "made by hand" in short[2]
    assert "not scored: its list is not there" in short[3]
    assert all(x.count("|") == short[0].count("|") for x in short)
    assert "ab" * 32 in held["model"] and "3 measures in, 2 sounds out: click, thump" in held["model"]
    assert "54 kB" in held["model"]


@pytest.mark.parametrize(
    "text", ["<!-- scores -->", "<!-- /scores --> <!-- scores -->", 2 * "<!-- scores --><!-- /scores -->"]
)
def test_a_broken_block_is_refused(text, sheet):
    with pytest.raises(BadParameter, match="needs one line"):
        fill(text, sheet)


def test_a_card_without_markers_is_refused(sheet):
    with pytest.raises(BadParameter, match="none of the markers"):
        fill("no markers", sheet)


def test_what_is_kept_names_no_files(sheet):
    kept = for_keeping(sheet)
    assert "clips/a.flac" not in json.dumps(kept) and "somebody" not in json.dumps(kept)
    assert kept["sets"]["scenes"]["sounds"] == sheet["sets"]["scenes"]["sounds"]
    assert sheet["sets"]["scenes"]["misses"][0]["file"] == "clips/a.flac"


@pytest.fixture(scope="module")
def measured():
    return json.loads((EAR / "scores.json").read_text(encoding="utf-8"))


def test_shipped_scores_are_those_of_the_shipped_model(measured):
    manifest = json.loads((EAR / "manifest.json").read_text(encoding="utf-8"))
    assert measured["model"]["sha256"] == manifest["sha256"], (
        "models/ear/scores.json is of another model: run `listen score --card models/ear/CARD.md --card README.md`"
    )
    assert not measured["short"], "the shipped scores are of the short form"


def test_shipped_scores_are_whole(measured):
    """Every set was there, and no clip was left out without a word."""
    assert list(measured["sets"]) == ["scenes", "second", "phones", "real", "mixed", "stand_ins"]
    for name, part in measured["sets"].items():
        assert part["clips"] > 20 and not part["unheard"], name
        assert "never accuracy on machines" in part["about"] or "real, proxy" in part["about"]
    assert measured["realness"]["sounds"]


@pytest.mark.parametrize("path", [EAR / "CARD.md", README], ids=["card", "readme"])
def test_shipped_figures_are_the_measured_ones(path, measured):
    """Whatever stands between markers is rendered from the scores beside the model."""
    held = blocks_of(path.read_text(encoding="utf-8")) if path.is_file() else {}
    if path.name == "CARD.md":
        assert set(held) == {"scores", "model"}
    for block, text in held.items():
        assert text == BLOCKS[block](measured), f"{path.name} quotes other figures in {block!r}"


def test_card_says_what_the_figures_are_not():
    text = (EAR / "CARD.md").read_text(encoding="utf-8")
    assert "No real machine has been heard yet" in text
    # Figures stand in the blocks alone, where they are measured: elsewhere no share, no percentage.
    for inner in blocks_of(text).values():
        text = text.replace(inner, "")
    assert "%" not in text and "0." not in text
