"""Where things stand in the page's drawings: numbers only, the template draws.

Conventions
-----------
Coordinates are pixels of the drawing's own box. A share of 0 lies at `LEFT`,
of 1 at `LEFT + WIDTH`; rows are `ROW` apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

LEFT, WIDTH, RIGHT, ROW = 100, 220, 70, 22
#: Side of the square in which a reliability curve is drawn, and its margin.
SIDE, MARGIN = 180, 34


def bar_rows(sounds: Sequence[tuple[str, Mapping[str, Any]]], few: Sequence[str]) -> list[dict[str, Any]]:
    """Place one row a sound: its F1 with interval, and recall as a small tick.

    Parameters
    ----------
    sounds : sequence of (word, row of the sheet)
        In the order in which they are drawn; those without F1 are left out.
    few : sequence of str
        Words that are drawn pale.
    """
    rows: list[dict[str, Any]] = []
    for word, row in sounds:
        if row["f1"]["value"] is None:
            continue
        recall, value = row["recall"]["value"], row["f1"]["value"]
        rows.append(
            {
                "word": word, "y": ROW * len(rows) + ROW // 2, "at": across(value), "low": across(value if row["f1"]["low"] is None else row["f1"]["low"]),
                "high": across(value if row["f1"]["high"] is None else row["f1"]["high"]), "recall": None if recall is None else across(recall),
                "pale": word in few, "text": f"{value:.2f} · {row['recordings']}",
            }
        )  # fmt: skip
    return rows


def across(share: float) -> float:
    """Return where a share lies from left to right."""
    return round(LEFT + WIDTH * share, 1)


def reliability_points(bins: Sequence[Mapping[str, Any]]) -> list[dict[str, float]]:
    """Place the bins of a reliability curve; the area of a mark grows with its number of events."""
    most = max((b["n"] for b in bins), default=1)
    points = []
    for b in bins:
        points.append(
            {
                "x": round(MARGIN + SIDE * b["mean_probability"], 1), "y": up(b["value"]), "low": up(b["low"]), "high": up(b["high"]),
                "size": round(3 + 6 * math.sqrt(b["n"] / most), 1), "n": b["n"],
            }
        )  # fmt: skip
    return points


def up(share: float) -> float:
    """Return where a share lies from bottom to top of the reliability square."""
    return round(8 + SIDE * (1 - share), 1)
