"""Trains: strokes of one part that works again and again, 3 to 30 times a second, and seldom evenly."""

from __future__ import annotations

import numpy as np

from listen.ear.draft import Draft
from listen.features.onsets import OnsetTable

TRAIN_RATE_HZ = (3.0, 30.0)
#: Calibrated probability from which an onset is a click.
CLICK_FROM = 0.6
#: One part that clicks again and again sounds alike each time; a crackling fire or crockery does not.
_CLICKS, _HEIGHT_SPREAD_DB, _COLOUR_SPREAD, _RHYTHM_SPREAD = 7, 5.5, 0.18, 0.6
#: Slow trains keep no strict time (common practice: 3 to 30 strokes a second, irregular): sure strokes only, up to
#: that far apart, s, so many of them, and at that rate in the middle.
_SLOW_GAP_S, _SLOW_CLICKS, _SLOWEST_HZ = 0.6, 6, 2.5
#: Strokes that the model is this sure of may differ more; where it is sure of few, there is no train.
_SURE, _UNSURE = 0.7, 0.15
_SURE_HEIGHT_SPREAD_DB, _SURE_COLOUR_SPREAD, _SURE_RHYTHM_SPREAD = 8.0, 0.4, 0.75
#: Gaps of a train within which its next stroke comes, though one was missed.
_MISSED = 2.3
#: How far a stroke that stands out without a model rises, dB.
_PLAIN_RISE_DB = 6.0


def hear_trains(onsets: OnsetTable, short: np.ndarray, click: np.ndarray) -> tuple[list[Draft], np.ndarray]:
    """Find trains of clicks.

    Parameters
    ----------
    onsets : OnsetTable
    short : np.ndarray of bool [shape=(k,)]
        Onsets that fall back at once.
    click : np.ndarray [shape=(k,)]
        How likely each is a click.

    Returns
    -------
    drafts : list of Draft
    used : np.ndarray of bool [shape=(k,)]
        Onsets within a train.
    """
    times_s = onsets.column("time_s").astype(float)
    drafts, used = [], np.zeros(len(times_s), bool)
    plain = onsets.plain() & (onsets.column("rise_db") > _PLAIN_RISE_DB)
    for candidates, gap_s, least in (
        (plain | (click >= CLICK_FROM), 1.0 / TRAIN_RATE_HZ[0], _CLICKS),
        (click >= CLICK_FROM, _SLOW_GAP_S, _SLOW_CLICKS),
    ):
        for chain in _chains(times_s, np.flatnonzero(short & candidates & ~used), gap_s):
            draft = _train(onsets, times_s, click, chain) if len(chain) >= least else None
            if draft is not None:
                used |= (times_s >= draft.onset_s - 0.02) & (times_s <= draft.offset_s + 0.03)
                drafts.append(draft)
    return drafts, used


def _chains(times_s: np.ndarray, rows: np.ndarray, gap_s: float) -> list[np.ndarray]:
    """Rows that follow each other within a gap."""
    return np.split(rows, np.flatnonzero(np.diff(times_s[rows]) > gap_s) + 1)


def _train(onsets: OnsetTable, times_s: np.ndarray, click: np.ndarray, chain: np.ndarray) -> Draft | None:
    """A chain as a train, or None where its strokes are too unlike each other to be one part's."""
    gaps_s, colours = np.diff(times_s[chain]), onsets.column("centroid_hz")[chain]
    heights_db = onsets.column("rise_db")[chain]
    gap_s, typical = float(np.median(gaps_s)), float(np.median(click[chain]))
    variation = _spread(gaps_s) / gap_s
    sure = typical >= _SURE
    # Beside a voice they rise from here and from there, and reach as high each time.
    height = min(_spread(heights_db), _spread(onsets.column("peak_db")[chain]))
    # Quartiles, not deviations: a cup or a bark among the clicks does not end the train.
    if (
        height >= (_SURE_HEIGHT_SPREAD_DB if sure else _HEIGHT_SPREAD_DB)
        or _spread(colours) >= (_SURE_COLOUR_SPREAD if sure else _COLOUR_SPREAD) * np.median(colours)
        or variation > (_SURE_RHYTHM_SPREAD if sure else _RHYTHM_SPREAD)
        or typical < _UNSURE
        or gap_s < 0.7 / TRAIN_RATE_HZ[1]
        or not _SLOWEST_HZ <= 1.0 / gap_s <= TRAIN_RATE_HZ[1]
    ):
        return None
    first, last = _reached(times_s, click, int(chain[0]), int(chain[-1]), gap_s)
    count = len(chain) + (first < chain[0]) + (last > chain[-1])
    certainty = min(0.97, 0.5 + 0.03 * count + 0.25 * max(0.0, 1 - 2 * variation))
    return Draft("click_train", float(times_s[first]), float(times_s[last]) + 0.02, certainty, {
        "rate_hz": 1.0 / gap_s, "count": float(count), "regularity": max(0.0, 1.0 - variation),
        "level_db": float(np.median(heights_db)),
    })  # fmt: skip


def _reached(times_s: np.ndarray, click: np.ndarray, first: int, last: int, gap_s: float) -> tuple[int, int]:
    """First and last row of a train with the clicks at both ends that one missed stroke parts from it."""
    sure = np.flatnonzero(click >= CLICK_FROM)
    for row in sure[sure < first][::-1]:
        if times_s[first] - times_s[row] > _MISSED * gap_s:
            break
        first = int(row)
    for row in sure[sure > last]:
        if times_s[row] - times_s[last] > _MISSED * gap_s:
            break
        last = int(row)
    return first, last


def _spread(values: np.ndarray) -> float:
    """Standard deviation of the middle half, as of a normal distribution."""
    low, high = np.percentile(values, [25, 75])
    return float(high - low) / 1.349
