"""The drawn trend and its table say the same, and clear nothing."""

import re

import bench_page_cards as cards
import bench_page_trend as page_trend
import pytest

from listen.library.trend import Trend, TrendPoint


def trend(values, band=(24.0, 26.0), good=2, **more):
    points = tuple(
        TrendPoint(f"{n}", f"clip <{n}>", f"2026-01-0{n + 1}", value, n < good)
        for n, value in enumerate(values)
    )
    return Trend("brew", "motor_run", "line", "Hz", points, band, good, **more)


def test_every_clip_is_a_spot_and_a_row():
    html = cards.render("trend", **page_trend.drawing(trend([25.0, 25.1, 25.2, 27.0])))
    assert html.count('class="spot good"') == 2 and html.count('class="spot off"') == 1
    assert html.count('<tr><th scope="row">') == 4
    assert "27.0 Hz" in html and "above the band" in html and "known good, within the band" in html
    assert "nothing is cleared" in html
    assert "clip &lt;3&gt;" in html and "<3>" not in html


@pytest.mark.parametrize("values", [[25.0, 25.0], [0.0, 1000.0], [1e-3, 2e-3], [25.0] * 40])
@pytest.mark.parametrize("band", [None, (24.0, 26.0), (25.0, 25.0)])
def test_nothing_is_drawn_outside_the_drawing(values, band):
    drawn = page_trend.drawing(trend(values, band))
    places = [spot[way] for spot in drawn["spots"] for way in ("left", "top")]
    places += [place for spot in drawn["spots"] for place in spot["stem"]] + list(drawn["band"] or ())
    assert all(0 <= place <= 100 for place in places)
    assert drawn["band"] is None or drawn["band"][0] <= drawn["band"][1]
    assert len({text for _, text in drawn["ticks"]}) == 3


def test_a_higher_value_stands_higher():
    drawn = page_trend.drawing(trend([25.0, 25.5]))
    assert drawn["spots"][1]["top"] < drawn["spots"][0]["top"]


def test_the_choice_names_what_lies_off():
    assert page_trend.label(trend([25.0, 27.0])).endswith("latest above")
    assert not re.search("above|below", page_trend.label(trend([25.0, 25.1])))
    assert "No band" in page_trend.drawing(trend([1.0, 2.0], None))["band_words"]
