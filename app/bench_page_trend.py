"""A machine's measures from clip to clip: drawn with the band of its known-good clips, and as a table."""

from __future__ import annotations

from typing import Any

import bench_page_cards as cards
import bench_page_shelf as shelf
import streamlit as st

from listen.library.trend import Trend, TrendPoint
from listen.report import words

_CHOSEN = "bench_page_trend"
_WHAT = {"line": "pitch", "duration": "how long", "level": "how far it stands out"}
_BESIDE = {
    "within": "within the band",
    "above": "above the band",
    "below": "below the band",
    "cut": "cut off by the clip's end",
    "none": "nothing known good to set it beside",
}
#: Share of the drawing's height that stays free above and below, %.
_ROOM = 6.0


def show(machine: str) -> None:
    """Draw the choice of series and the chosen one; a machine without any says what is needed."""
    found = {_key(one): one for one in shelf.library().trends(machine)}
    cards.show(
        "step", title="From clip to clip", note="What was measured, beside this machine's known-good clips."
    )
    if not found:
        cards.show(
            "told_nothing",
            line="Nothing yet: it takes two kept clips in which the same state was told, such as a brew.",
        )
        return
    chosen = st.selectbox(
        "Measure, what lies farthest off first", list(found), format_func=lambda key: label(found[key]),
        key=f"{_CHOSEN}_{machine}",
    )  # fmt: skip
    cards.show("trend", **drawing(found[chosen]))


def label(trend: Trend) -> str:
    """Name a series, with a word where its latest value lies off its band."""
    name = f"{words.sound_words(trend.sound).capitalize()}, {_WHAT[trend.what]}, {words.state_words(trend.state)}"
    return f"{name}: latest {trend.beside(trend.points[-1])}" if trend.off > 0 else name


def drawing(trend: Trend) -> dict[str, Any]:
    """Return what the template draws: places in % of the drawing from left and top, and the rows of the table."""
    low, high = _range(trend)

    def top(value: float) -> float:
        return round(_ROOM + (high - value) / (high - low) * (100.0 - 2 * _ROOM), 2)

    usual = sum(trend.band) / 2 if trend.band else low
    spots = [
        {
            "left": round(100.0 * (n + 0.5) / len(trend.points), 2),
            "top": top(point.value),
            # From what is usual to the value: how far it is off is what the eye shall see.
            "stem": sorted((top(usual), top(point.value))),
            "shape": "off"
            if trend.beside(point) in ("above", "below")
            else "good"
            if point.good
            else "other",
        }
        for n, point in enumerate(trend.points)
    ]
    return {
        "title": label(trend),
        "band": (top(trend.band[1]), top(trend.band[0])) if trend.band else None,
        "band_words": _band_words(trend),
        "ticks": [(top(value), f"{value:.{_digits(high - low)}f}") for value in _ticks(low, high)],
        "unit": trend.unit,
        "spots": spots,
        "first": trend.points[0].day,
        "last": trend.points[-1].day,
        "rows": [_row(trend, point) for point in reversed(trend.points)],
    }


def _row(trend: Trend, point: TrendPoint) -> dict[str, str]:
    at_least = "at least " if point.cut else ""
    return {
        "day": point.day,
        "name": point.name,
        "value": f"{at_least}{point.value:.1f} {trend.unit}",
        "beside": f"known good, {_BESIDE[trend.beside(point)]}"
        if point.good
        else _BESIDE[trend.beside(point)],
    }


def _band_words(trend: Trend) -> str:
    if trend.band is None:
        return "No band: no known-good clip of this machine shows it. Mark one when the machine is in good order."
    clips = "one known-good clip" if trend.n_good == 1 else f"{trend.n_good} known-good clips"
    low, high = trend.band
    return (
        f"Band: {low:.1f} to {high:.1f} {trend.unit}, from {clips}; one more good clip lies in it 19 times of 20. "
        "Within it, nothing is cleared."
    )


def _range(trend: Trend) -> tuple[float, float]:
    values = [point.value for point in trend.points] + list(trend.band or ())
    low, high = min(values), max(values)
    room = max(0.08 * (high - low), 0.02 * abs(high), 0.1)
    return low - room, high + room


def _ticks(low: float, high: float) -> list[float]:
    return [low + share * (high - low) for share in (0.08, 0.5, 0.92)]


def _digits(span: float) -> int:
    return 0 if span >= 30 else 1 if span >= 2 else 2


def _key(trend: Trend) -> str:
    return f"{trend.state} {trend.sound} {trend.what}"
