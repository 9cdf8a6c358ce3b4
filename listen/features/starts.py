"""Where a noise sets in: what was there before, and how it goes on from the first hundredth of a second.

A release, a valve that lifts and a jet sound much alike for a moment; they differ
in how they begin and in what becomes of them. A segment that starts anywhere
sees that blurred; a look that starts where the noise does sees it plainly.

Conventions
-----------
A start lies on a cell of 64 ms whose level, in three of eight ranges, stands above
the quarter of a second before it. Levels are taken relative to that quarter of a
second, never absolute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.features.collect import BANDS_K, ClipFeatures
from listen.features.textures import rolling_floor
from listen.spectra import CELL_S, to_db

#: Ranges of third octaves (k from, k to), about 100 Hz to 16 kHz.
RANGES = ((-10, -8), (-7, -5), (-4, -2), (-1, 1), (2, 4), (5, 7), (8, 9), (10, 12))
#: Mean rise of the three ranges that rise most, dB, and the cells to both sides within which it is the largest.
_RISE_DB, _ALONE_CELLS = 3.0, 4
_RISING = 3
#: Cells that are compared, relative to the start: the reference first.
_REFERENCE = (-6, -1)
_BEFORE = ((-40, -16), (-16, -6))
_AFTER = ((0, 1), (1, 2), (2, 3), (3, 5), (5, 8), (8, 12), (12, 18), (18, 28), (28, 44))
_COLOUR = (_REFERENCE, (0, 3), (3, 8), (8, 18))
_MOVING = ((0, 8), (8, 28))
_FINE = (-1, 4)
_COUNTED_S = ((-0.1, 0.1), (0.1, 0.6), (0.6, 2.0))
_REACH = 48
_LEAST_CELLS = 8
_CLIP_DB = 40.0
_COLOURS = ("flat_0k3_1k", "flat_1k_4k", "flat_4k_14k", "tone", "crest", "spread")


def _span(cells: tuple[int, int]) -> str:
    return f"{cells[0]}_{cells[1]}".replace("-", "before_")


#: The ordered measurements of one start; a model bundle stores them and is refused if they differ.
START_NAMES: tuple[str, ...] = (
    *(f"over_{r}_{_span(w)}_db" for w in (*_BEFORE, *_AFTER) for r in range(len(RANGES))),
    *(f"before_over_floor_{r}_db" for r in range(len(RANGES))),
    *(f"{c}_{_span(w)}_db" for w in _COLOUR for c in _COLOURS),
    *(f"moving_{r}_{_span(w)}_db" for w in _MOVING for r in range(len(RANGES))),
    *(f"frame_{n}_db" for n in range(4 * (_FINE[1] - _FINE[0]))),
    *(f"onsets_{n}" for n in range(len(_COUNTED_S))),
)


@dataclass(frozen=True, slots=True)
class Starts:
    """`values` [shape=(k, len(START_NAMES))] at `cells` [shape=(k,)], ordered; a cell begins at cell · CELL_S."""

    values: np.ndarray
    cells: np.ndarray

    @property
    def times_s(self) -> np.ndarray:
        """Beginning of each start's cell, s."""
        return self.cells * CELL_S


def find_starts(features: ClipFeatures) -> Starts:
    """Find and describe all starts of a clip.

    Parameters
    ----------
    features : ClipFeatures

    Returns
    -------
    Starts
        Empty for a clip of less than half a second.
    """
    t = len(features.bands_db)
    if t < _LEAST_CELLS:
        return Starts(np.zeros((0, len(START_NAMES)), np.float32), np.zeros(0, int))
    cells = _candidates(_Means(_levels(features)), t)
    return Starts(describe_cells(features, cells), cells)


def _levels(features: ClipFeatures) -> np.ndarray:
    power = 10 ** (features.bands_db / 10)
    return to_db(
        np.stack([power[:, BANDS_K.index(a) : BANDS_K.index(b) + 1].sum(axis=1) for a, b in RANGES], axis=1)
    )


def describe_cells(features: ClipFeatures, cells: np.ndarray) -> np.ndarray:
    """Measure what was there before each of some cells, and how it goes on.

    Parameters
    ----------
    features : ClipFeatures
    cells : np.ndarray [shape=(k,)], int

    Returns
    -------
    np.ndarray [shape=(k, len(START_NAMES))], float32
        Zeros for a clip of less than half a second.
    """
    if len(features.bands_db) < _LEAST_CELLS or not len(cells):
        return np.zeros((len(cells), len(START_NAMES)), np.float32)
    levels = _levels(features)
    levels_mean = _Means(levels)
    reference = levels_mean(cells, _REFERENCE)
    over = [np.clip(levels_mean(cells, w) - reference, -_CLIP_DB, _CLIP_DB) for w in (*_BEFORE, *_AFTER)]
    colours = _Means(
        np.column_stack([features.flat_db, features.tone_db, features.crest_db, features.spread_db])
    )
    steps = _Means(np.abs(np.diff(levels, axis=0, prepend=levels[:1])))
    frames = np.pad(features.envelope_db, ((-_FINE[0], _FINE[1]), (0, 0)), mode="edge")
    near = np.concatenate([frames[cells + k] for k in range(_FINE[1] - _FINE[0])], axis=1)
    loud = _Means(features.envelope_db.mean(axis=1, keepdims=True))
    values = np.concatenate(
        [
            *over,
            reference - rolling_floor(levels)[cells],
            *(colours(cells, w) for w in _COLOUR),
            *(steps(cells, w) for w in _MOVING),
            np.clip(near - loud(cells, _REFERENCE), -_CLIP_DB, _CLIP_DB),
            _onset_counts(features, cells),
        ],
        axis=1,
    )
    return np.nan_to_num(values).astype(np.float32)


class _Means:
    """Means of columns over spans of cells; beyond the clip its first and last cell are repeated."""

    def __init__(self, values: np.ndarray) -> None:
        padded = np.pad(values, ((_REACH, _REACH), (0, 0)), mode="edge").astype(np.float64)
        self._sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(padded, axis=0)])

    def __call__(self, cells: np.ndarray, span: tuple[int, int]) -> np.ndarray:
        first, stop = cells + _REACH + span[0], cells + _REACH + span[1]
        return (self._sums[stop] - self._sums[first]) / (span[1] - span[0])


def _candidates(levels: _Means, t: int) -> np.ndarray:
    every = np.arange(t)
    rise = levels(every, (0, 2)) - levels(every, (-5, -1))
    strength = np.sort(rise, axis=1)[:, -_RISING:].mean(axis=1)
    strength[0] = 0.0  # nothing is known of what was before the clip
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(strength, _ALONE_CELLS, constant_values=-np.inf), 2 * _ALONE_CELLS + 1
    )
    return np.flatnonzero((strength >= _RISE_DB) & (strength >= around.max(axis=1)))


def _onset_counts(features: ClipFeatures, cells: np.ndarray) -> np.ndarray:
    times = features.onsets.column("time_s").astype(float)
    at = cells * CELL_S
    return np.stack(
        [
            np.minimum(np.searchsorted(times, at + stop) - np.searchsorted(times, at + start), 20)
            for start, stop in _COUNTED_S
        ],
        axis=1,
    )
