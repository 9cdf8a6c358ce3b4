"""Spectral lines of each 2 s window, and nothing else, so that hours stay small.

A line is a peak that stands above the median of its neighbourhood. Its
frequency comes from a parabola through the three log bins of a Hann window
(error well below 0.05 Hz at 10 dB over the noise, asserted by a test).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.spectra import LINE_N, LINE_RATE_HZ, LINE_S, to_db

BIN_HZ = LINE_RATE_HZ / LINE_N
#: How many lines of a window are kept, the most prominent first.
KEEP = 48
LOWEST_HZ = 18.0
HIGHEST_HZ = 1900.0
PROMINENCE_DB = 9.0
_HALF_NEIGHBOURHOOD_HZ = 12.0


@dataclass(frozen=True, slots=True)
class LineTable:
    """Lines of a clip.

    Attributes
    ----------
    hz, level_db, over_db : np.ndarray [shape=(v, KEEP)]
        Frequency, level (dB re full-scale mean square) and height over the
        local median; NaN where a window has fewer lines.
    floor_db : np.ndarray [shape=(v,)]
        Median level per bin, 40–400 Hz.
    """

    hz: np.ndarray
    level_db: np.ndarray
    over_db: np.ndarray
    floor_db: np.ndarray

    @property
    def times_s(self) -> np.ndarray:
        """Start of each window, s."""
        return np.arange(len(self.hz)) * LINE_S


def _local_median(db: np.ndarray) -> np.ndarray:
    """Median of log power in a sliding neighbourhood, sampled every quarter of it."""
    half = int(_HALF_NEIGHBOURHOOD_HZ / BIN_HZ)
    step = half // 2
    centres = np.arange(0, db.shape[1], step)
    padded = np.pad(db, ((0, 0), (half, half)), mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=1)[:, centres]
    # Of an odd number of values the median is the middle one.
    medians = np.partition(windows, half, axis=2)[:, :, half]
    out = np.empty_like(db)
    grid = np.arange(db.shape[1])
    for row, values in zip(out, medians, strict=True):
        row[:] = np.interp(grid, centres, values)
    return out


def find_lines(line_power: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Find the lines of each window.

    Parameters
    ----------
    line_power : np.ndarray [shape=(v, 4097)]

    Returns
    -------
    hz, level_db, over_db : np.ndarray [shape=(v, KEEP)]
    floor_db : np.ndarray [shape=(v,)]
    """
    v = len(line_power)
    hz = np.full((v, KEEP), np.nan, np.float32)
    level, over = hz.copy(), hz.copy()
    if v == 0:
        return hz, level, over, np.zeros(0, np.float32)
    db = to_db(line_power)
    median = _local_median(db)
    height = db - median
    lo, hi = int(LOWEST_HZ / BIN_HZ), int(HIGHEST_HZ / BIN_HZ)
    peak = np.zeros(db.shape, bool)
    peak[:, 1:-1] = (
        (db[:, 1:-1] > db[:, :-2]) & (db[:, 1:-1] >= db[:, 2:]) & (height[:, 1:-1] > PROMINENCE_DB)
    )
    peak[:, :lo] = False
    peak[:, hi:] = False
    # Numerical silence holds no lines.
    peak &= db > -105.0
    for row in range(v):
        bins = np.flatnonzero(peak[row])
        if not len(bins):
            continue
        bins = bins[np.argsort(height[row, bins])[::-1][:KEEP]]
        left, mid, right = db[row, bins - 1], db[row, bins], db[row, bins + 1]
        offset = 0.5 * (left - right) / np.minimum(left - 2 * mid + right, -1e-6)
        hz[row, : len(bins)] = (bins + offset) * BIN_HZ
        # A Hann line spreads over three bins or so.
        level[row, : len(bins)] = 10 * np.log10(10 ** (left / 10) + 10 ** (mid / 10) + 10 ** (right / 10))
        over[row, : len(bins)] = height[row, bins]
    floor = np.median(db[:, int(40 / BIN_HZ) : int(400 / BIN_HZ)], axis=1).astype(np.float32)
    return hz, level, over, floor
