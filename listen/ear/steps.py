"""Find where something begins or ends on a level track of 64 ms cells."""

from __future__ import annotations

import numpy as np

from listen.spectra import CELL_S

#: Levels are compared over this many cells on both sides of a step (0.5 s).
SIDE = 8


def step_times(levels_db: np.ndarray, low_s: float, high_s: float, rising: bool) -> tuple[float, float]:
    """Place a step between two times where the levels of several bands change most.

    Parameters
    ----------
    levels_db : np.ndarray [shape=(t, bands)]
    low_s, high_s : float
        Where to look.
    rising : bool
        Look for a beginning (True) or an ending.

    Returns
    -------
    at_s, height_db : float
        Time of the step and its mean height over the bands that change.
    """
    t = len(levels_db)
    low = int(np.clip(np.floor(low_s / CELL_S), 1, max(1, t - 1)))
    high = int(np.clip(np.ceil(high_s / CELL_S), low, max(low, t - 1)))
    # Only what lies around is summed: the work must not grow with the clip.
    first = max(0, low - SIDE)
    near = levels_db[first : min(t, high + SIDE)]
    cumulative = np.concatenate([np.zeros((1, near.shape[1])), np.cumsum(near, axis=0, dtype=np.float64)])
    at = np.arange(low, high + 1) - first
    after_end, before_start = np.minimum(at + SIDE, len(near)), np.maximum(at - SIDE, 0)
    after = (cumulative[after_end] - cumulative[at]) / (after_end - at)[:, None].clip(1)
    before = (cumulative[at] - cumulative[before_start]) / (at - before_start)[:, None].clip(1)
    change = after - before if rising else before - after
    strongest = max(1, change.shape[1] // 3)
    height = np.sort(np.clip(change, 0.0, 20.0), axis=1)[:, -strongest:].mean(axis=1)
    # Steps of more than 20 dB make a plateau of equal heights: its middle is where the full change peaks.
    peak = np.sort(change, axis=1)[:, -strongest:].mean(axis=1)
    best = int(np.argmax(height + 1e-3 * peak))
    return float((at[best] + first) * CELL_S), float(height[best])


#: A sound is followed in the bands where it stands this far over the quiet around it, dB; that quiet is a percentile.
_STANDS_DB, _QUIET = 6.0, 15
#: It goes on while its bands are nearer to it than to that quiet, and neither this far below nor above it.
_FAINTER_DB, _LOUDER_DB = 8.0, 10.0
#: Cells that something else may cover, if it goes on for longer than that behind them: a click before a pump is no pump.
_COVERED_CELLS = 5


def followed(bands_db: np.ndarray, first: int, stop: int, reach: int) -> tuple[int, int] | None:
    """Follow a sound from a part of it that is known to where its level rose and fell.

    Parameters
    ----------
    bands_db : np.ndarray [shape=(t, bands)]
    first, stop : int
        Cells that surely belong to it.
    reach : int
        Cells to both sides in which to look for its edges and for the quiet around it.

    Returns
    -------
    start, stop : int
        Its first cell and the first after it; None where it stands out in no band.
    """
    low, high = max(0, first - reach), min(len(bands_db), stop + reach)
    near = bands_db[low:high]
    inside = np.median(bands_db[first:stop], axis=0)
    quiet = np.percentile(near, _QUIET, axis=0)
    stands = inside - quiet
    bands = stands >= _STANDS_DB
    if not bands.any():
        return None
    above = near[:, bands] - inside[bands]
    # As many times the way to the middle; one band alone neither ends nor holds it.
    way = np.clip(above / np.minimum(stands[bands] / 2, _FAINTER_DB), -2.0, 1.0).mean(axis=1)
    there = (_median3(way) > -1.0) & (_median3(np.median(above, axis=1)) < _LOUDER_DB)
    there[first - low : stop - low] = True
    pieces = runs(there)
    at = next(n for n, (start, end) in enumerate(pieces) if start <= first - low < end)
    start, end = pieces[at]
    for before in reversed(pieces[:at]):
        if start - before[1] > min(_COVERED_CELLS, before[1] - before[0]):
            break
        start = before[0]
    for after in pieces[at + 1 :]:
        if after[0] - end > min(_COVERED_CELLS, after[1] - after[0]):
            break
        end = after[1]
    return start + low, end + low


def _median3(track: np.ndarray) -> np.ndarray:
    padded = np.pad(track, 1, mode="edge")
    return np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)


def runs(active: np.ndarray, gap: int = 0) -> list[tuple[int, int]]:
    """Return [start, stop) of each run of True, joining runs whose gap is at most `gap`."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], active.astype(np.int8), [0]])))
    spans = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    joined: list[tuple[int, int]] = []
    for start, stop in spans:
        if joined and start - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((start, stop))
    return joined
