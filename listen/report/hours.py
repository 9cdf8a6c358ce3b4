"""A long recording counted hour by hour: pump runs, fills and releases, with a chart of our own (SVG).

Conventions
-----------
A run or a release counts in the hour in which it begins. A fill is a stretch that
the story calls `auto_fill`, whether a person gave it or the tool drafted it, and is
said to be so. Counts are of what was heard: what the recording hid is not in them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any

#: Shorter recordings are told by their time line alone, s.
FROM_S = 1200.0
_HOUR_S = 3600.0
_PUMPS = ("motor_run", "stroke_train")
#: Drawing: a row for each count, a column for each hour; user units of the SVG.
_ROW, _LEFT, _COLUMN, _GAP = 74, 120, 44, 18
_ROWS = (
    ("pump_runs", "Pump runs", "#2f5d8a"),
    ("fills", "Fills", "#3b7a57"),
    ("releases", "Releases", "#a2582c"),
)


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour (the last may be shorter): when it begins and how long it is, s, and what began in it."""

    start_s: float
    length_s: float
    pump_runs: int = 0
    fills: int = 0
    releases: int = 0


def hours_of(report: Mapping[str, Any]) -> tuple[Hour, ...]:
    """Count a report, in its JSON form, hour by hour.

    Parameters
    ----------
    report : mapping
        As :func:`listen.report.to_dict.to_dict` gives it.

    Returns
    -------
    tuple of Hour
        Empty for a recording shorter than ``FROM_S``.
    """
    duration_s = float(report["clip"]["duration_s"] or 0.0)
    if duration_s < FROM_S:
        return ()
    n = max(1, -int(-duration_s // _HOUR_S))

    def counted(starts_s: list[float]) -> list[int]:
        counts = [0] * n
        for at_s in starts_s:
            counts[min(n - 1, max(0, int(at_s // _HOUR_S)))] += 1
        return counts

    events = report["events"]
    pumps = counted([e["onset_s"] for e in events if e["sound"] in _PUMPS])
    releases = counted([e["onset_s"] for e in events if e["sound"] == "burst"])
    fills = counted([s["start_s"] for s in report["story"] if s["state"] == "auto_fill"])
    return tuple(
        Hour(i * _HOUR_S, min(_HOUR_S, duration_s - i * _HOUR_S), pumps[i], fills[i], releases[i])
        for i in range(n)
    )


def per_hour(hours: tuple[Hour, ...], what: str) -> float:
    """Return a count over the whole recording, per hour of it."""
    length_s = sum(hour.length_s for hour in hours)
    return _HOUR_S * sum(getattr(hour, what) for hour in hours) / length_s if length_s else 0.0


def section(report: Mapping[str, Any]) -> str:
    """Return the part of the HTML report on the hours; empty for a short recording."""
    hours = hours_of(report)
    if not hours:
        return ""
    drafted = any(s["state"] == "auto_fill" and s["source"] == "drafted" for s in report["story"])
    told = "; ".join(f"{words.lower()} {per_hour(hours, name):.1f} an hour" for name, words, _ in _ROWS)
    note = " Fills are drafted from the sound, not told by a person." if drafted else ""
    return (
        f"<section>\n  <h2>Hour by hour</h2>\n  <p>{escape(told[0].upper() + told[1:])}. "
        f"What another sound hid is not counted.{note}</p>\n  {chart(hours)}\n</section>"
    )


def chart(hours: tuple[Hour, ...]) -> str:
    """Draw the counts as bars, a row for each kind, each bar with its number."""
    width, height = _LEFT + _COLUMN * len(hours) + _GAP, _ROW * len(_ROWS) + 26
    parts = [
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        'aria-label="Pump runs, fills and releases in each hour" font-family="sans-serif" font-size="12">'
    ]
    for row, (name, words, colour) in enumerate(_ROWS):
        base = _ROW * (row + 1) - 4
        most = max(1, *(getattr(hour, name) for hour in hours))
        parts.append(f'<text x="0" y="{base - 4}">{escape(words)}</text>')
        parts.append(f'<line x1="{_LEFT}" x2="{width}" y1="{base}" y2="{base}" stroke="#999"/>')
        for column, hour in enumerate(hours):
            n = getattr(hour, name)
            tall = round((_ROW - _GAP - 10) * n / most)
            x = _LEFT + _COLUMN * column
            parts.append(
                f'<rect x="{x + 4}" y="{base - tall}" width="{_COLUMN - 8}" height="{tall}" fill="{colour}"/>'
                f'<text x="{x + _COLUMN // 2}" y="{base - tall - 3}" text-anchor="middle">{n}</text>'
            )
    for column, hour in enumerate(hours):
        x = _LEFT + _COLUMN * column + _COLUMN // 2
        parts.append(
            f'<text x="{x}" y="{height - 6}" text-anchor="middle">{round(hour.start_s / _HOUR_S)} h</text>'
        )
    return "".join([*parts, "</svg>"])
