"""A picture of the clip with a logarithmic frequency axis, small whatever the clip's length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from listen.spectra import FRAME_N, LINE_RATE_HZ, LOW_N, RATE_HZ, SpectraChunk, to_db

ROWS = 96
LOWEST_HZ, HIGHEST_HZ = 40.0, 15_500.0
#: Below this the rows come from the 4 kHz stream, where a hum is a thin line.
SEAM_HZ = 700.0
MAX_COLUMNS = 4096
_FRAMES_PER_COLUMN = 4


@dataclass(frozen=True, slots=True)
class Picture:
    """Levels for drawing: `levels_db` [shape=(rows, columns)], `hz` [shape=(rows,)] rising, `duration_s`."""

    levels_db: np.ndarray
    hz: np.ndarray
    duration_s: float


def row_hz() -> np.ndarray:
    """Middle frequency of each row [shape=(ROWS,)], rising, equally spaced in log."""
    return np.geomspace(LOWEST_HZ, HIGHEST_HZ, ROWS)


@cache
def _rows(n_fft: int, rate_hz: int, low: bool) -> np.ndarray:
    hz = row_hz()
    ratio = hz[1] / hz[0]
    width = rate_hz / n_fft
    bins = np.arange(n_fft // 2 + 1) * width
    weights = np.zeros((len(bins), ROWS), np.float32)
    for row, centre in enumerate(hz):
        if (centre < SEAM_HZ) != low:
            continue
        half = max(centre * (ratio**0.5 - 1), 0.75 * width)
        weights[:, row] = np.clip(1 - np.abs(bins - centre) / (2 * half), 0, None)
    return weights


class PictureBuilder:
    """Build the picture from chunks; columns are merged in pairs whenever there are too many."""

    def __init__(self) -> None:
        self._columns = np.zeros((0, ROWS), np.float32)
        self._merge = 1
        self._pending: list[np.ndarray] = []
        self._rest_high = np.zeros((0, ROWS), np.float32)
        self._rest_low = np.zeros((0, ROWS), np.float32)
        self._parts: list[np.ndarray] = []
        self._count = 0

    def push(self, chunk: SpectraChunk) -> None:
        high = np.concatenate([self._rest_high, chunk.frame_power @ _rows(FRAME_N, RATE_HZ, False)])
        low = np.concatenate([self._rest_low, chunk.low_power @ _rows(LOW_N, LINE_RATE_HZ, True)])
        columns = min(len(high) // _FRAMES_PER_COLUMN, len(low))
        used = columns * _FRAMES_PER_COLUMN
        self._rest_high, self._rest_low = high[used:].copy(), low[columns:].copy()
        if columns:
            pooled = high[:used].reshape(columns, _FRAMES_PER_COLUMN, ROWS).max(axis=1)
            self._add(pooled + low[:columns])

    def _add(self, columns: np.ndarray) -> None:
        self._pending.append(columns)
        stacked = np.concatenate(self._pending)
        whole = len(stacked) // self._merge * self._merge
        self._pending = [stacked[whole:]]
        self._columns = np.concatenate(
            [self._columns, stacked[:whole].reshape(-1, self._merge, ROWS).max(axis=1)]
        )
        while len(self._columns) > MAX_COLUMNS:
            even = len(self._columns) // 2 * 2
            if even < len(self._columns):
                self._pending.insert(0, np.repeat(self._columns[even:], self._merge, axis=0))
            self._columns = self._columns[:even].reshape(-1, 2, ROWS).max(axis=1)
            self._merge *= 2

    def finish(self, duration_s: float) -> Picture:
        levels = to_db(self._columns).T
        return Picture(np.ascontiguousarray(levels), row_hz(), duration_s)
