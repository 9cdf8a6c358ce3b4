"""How a machine's measures went from clip to clip, each series with the band of its known-good clips.

A series is one measure of one sound in one state that a person told: the pitch of
a pump in a brew, how long the vent hisses in warm-up, how far a hum stands out.
Beside the band it says only what was measured: a value within it clears nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from listen.library.baseline import ASSUMED, prediction
from listen.library.observed import Observed

#: Fewer points are no trend.
MIN_POINTS = 2


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One clip's value; `cut`: the clip's own ends cut the sound off, so that it lasts at least so long."""

    clip: str
    name: str
    day: str
    value: float
    good: bool
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Trend:
    """One measure over a machine's clips.

    Attributes
    ----------
    state, sound : str
    what : {"line", "duration", "level"}
        Its frequency, how long it lasts, how far it stands out of what is around it.
    unit : str
        Hz, s or dB.
    points : tuple of TrendPoint
        The oldest first.
    band : (float, float) or None
        95 % interval for one more known-good clip; None without such clips.
    n_good : int
        Known-good clips behind the band.
    """

    state: str
    sound: str
    what: str
    unit: str
    points: tuple[TrendPoint, ...]
    band: tuple[float, float] | None
    n_good: int

    def beside(self, point: TrendPoint) -> str:
        """Return `within`, `above`, `below`, or `cut` and `none` where nothing can be said."""
        if self.band is None:
            return "none"
        if point.value > self.band[1]:
            return "above"
        if point.cut:
            return "cut"
        return "below" if point.value < self.band[0] else "within"

    @property
    def off(self) -> float:
        """How far the latest point lies beyond the band, in half widths of it; 0 within."""
        if self.band is None or self.beside(self.points[-1]) in ("within", "cut"):
            return 0.0
        low, high = self.band
        return abs(self.points[-1].value - (low + high) / 2) / max((high - low) / 2, 1e-9) - 1.0


def trends(
    state: str, observed: Sequence[Observed], good: Iterable[str], days: Mapping[str, str]
) -> list[Trend]:
    """Return the series of one state.

    Parameters
    ----------
    state : str
    observed : sequence of Observed
        The clips that show it, in any order.
    good : iterable of str
        Hashes of the known-good clips that may make a band.
    days : mapping
        Hash to the moment by which clips are put in order.
    """
    in_order = sorted(observed, key=lambda one: (days[one.clip.sha256], one.clip.sha256))
    known = set(good)
    found = []
    for what, unit, field in (
        ("line", "Hz", "lines_hz"),
        ("duration", "s", "durations_s"),
        ("level", "dB", "levels_db"),
    ):
        for sound in sorted({sound for one in in_order for sound in getattr(one, field)}):
            points = tuple(
                TrendPoint(
                    one.clip.sha256,
                    one.clip.name,
                    days[one.clip.sha256][:10],
                    float(getattr(one, field)[sound]),
                    one.clip.sha256 in known,
                    what == "duration" and sound in one.open_ended,
                )
                for one in in_order
                if sound in getattr(one, field)
            )
            if len(points) >= MIN_POINTS:
                values = [point.value for point in points if point.good and not point.cut]
                found.append(Trend(state, sound, what, unit, points, _band(what, values), len(values)))
    return found


def _band(what: str, good: list[float]) -> tuple[float, float] | None:
    if not good:
        return None
    mean = float(np.mean(good))
    spread = {
        "line": ASSUMED["line"] * mean,
        "duration": max(ASSUMED["duration"] * mean, 0.15),
        "level": ASSUMED["band"],
    }
    usual, margin = prediction(good, spread[what])
    low = usual - margin if what == "level" else max(usual - margin, 0.0)
    return low, usual + margin
