"""Marks and gauges as people type them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.bench import parse_did, parse_gauge
from listen.errors import BadParameter
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, GAUGES, STATES


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("0:03 brew_on", StoryMark(3.0, "brew_on")),
        ("1:02.5 steam", StoryMark(62.5, "steam")),
        ("1:02,5 Steam", StoryMark(62.5, "steam")),
        ("1:00:01 idle-hot", StoryMark(3601.0, "idle_hot")),
        ("  12   brew ", StoryMark(12.0, "brew")),
    ],
)
def test_marks(text: str, mark: StoryMark) -> None:
    assert parse_did(text) == mark


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "not a mark"),
        ("brew_on", "not a mark"),
        ("0:03 brewing", "neither a state nor an action"),
        ("0:99 brew", "not a time"),
        ("x brew", "not a time"),
        ("-3 brew", "not a time"),
        ("nan brew", "not a time"),
        ("0:03 brew on", "not a mark"),
    ],
)
def test_bad_marks(text: str, why: str) -> None:
    with pytest.raises(BadParameter, match=why):
        parse_did(text)


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("boiler=1.1", ("boiler", 1.1)),
        ("Boiler = 1,1 bar", ("boiler", 1.1)),
        ("line=0", ("line", 0.0)),
        ("brew=-0.5", ("brew", -0.5)),
    ],
)
def test_gauges(text: str, reading: tuple[str, float]) -> None:
    assert parse_gauge(text) == reading


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("boiler", "not a gauge reading"),
        ("kettle=1", "not a gauge reading"),
        ("boiler=", "not a number of bar"),
        ("boiler=high", "not a number of bar"),
        ("boiler=16psi", "psi"),
        ("boiler=nan", "not a number of bar"),
        ("boiler=1e3", "not a number of bar"),
        ("boiler=99", "cannot be read"),
        ("boiler=-3", "cannot be read"),
    ],
)
def test_bad_gauges(text: str, why: str) -> None:
    with pytest.raises(BadParameter, match=why):
        parse_gauge(text)


@settings(derandomize=True, database=None, deadline=None)
@given(st.integers(0, 999), st.integers(0, 59), st.sampled_from((*STATES, *ACTIONS)))
def test_every_clock_and_word_is_read_back(minutes: int, seconds: int, word: str) -> None:
    assert parse_did(f"{minutes}:{seconds:02d} {word}") == StoryMark(minutes * 60 + seconds, word)


@settings(derandomize=True, database=None, deadline=None)
@given(st.floats(-1.0, 30.0), st.sampled_from(GAUGES))
def test_every_reading_is_read_back(bar: float, gauge: str) -> None:
    name, value = parse_gauge(f"{gauge}={bar:.2f}")
    assert name == gauge and math.isclose(value, bar, abs_tol=0.006)


@settings(derandomize=True, database=None, deadline=None)
@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_one_plain_sentence(text: str) -> None:
    for parse in (parse_did, parse_gauge):
        try:
            parse(text)
        except BadParameter as refused:
            assert str(refused) and "\n" not in str(refused).replace(repr(text), "")
