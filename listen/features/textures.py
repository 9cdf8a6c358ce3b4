"""Segments of one second: the shape, movement and roughness of what is heard.

Conventions
-----------
A segment spans 16 cells (1.024 s) and starts every 4 cells (0.256 s). Levels
are taken relative to the segment's own level (shape) or to the clip's own
floor (rise), never absolute: a phone sets its own gain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.features.collect import BANDS_K, ClipFeatures
from listen.features.mains import CombTracks
from listen.features.names import TEXTURE_NAMES
from listen.spectra import CELL_S, LINE_S

CELLS = 16
HOP = 4
SEGMENT_S = CELLS * CELL_S
SEGMENT_HOP_S = HOP * CELL_S
#: Shape is described from 100 Hz up: below, phones differ more than sounds do.
SHAPE_FROM = BANDS_K.index(-10)
#: Groups of third octaves (k from, k to) for movement and rise, about 100 Hz to 16 kHz.
GROUPS = ((-10, -6), (-5, -2), (-1, 2), (3, 6), (7, 9), (10, 12))
#: Span of the rolling floor, s, and its percentile.
FLOOR_S, FLOOR_PERCENTILE = 60.0, 10
#: Segments described in one go: an hour has 14,000, and what is needed on the way is many times what is kept.
_AT_ONCE = 2048
_MODULATION_HZ = ((1.0, 3.0), (3.0, 7.0), (7.0, 15.0), (15.0, 31.0))


@dataclass(frozen=True, slots=True)
class Segments:
    """`values` [shape=(k, len(TEXTURE_NAMES))], starts at `starts_s` [shape=(k,)]."""

    values: np.ndarray
    starts_s: np.ndarray


def rolling_floor(levels_db: np.ndarray) -> np.ndarray:
    """Rolling low percentile of each column [shape like input], in blocks of a few seconds."""
    t = len(levels_db)
    if t == 0:
        return levels_db
    block = max(1, round(4.0 / CELL_S))
    half = round(FLOOR_S / 2 / CELL_S)
    centres = np.arange(0, t, block)
    floors = np.stack([
        np.percentile(levels_db[max(0, c - half) : c + half + 1], FLOOR_PERCENTILE, axis=0) for c in centres
    ])  # fmt: skip
    return floors[np.minimum(np.arange(t) // block, len(centres) - 1)].astype(np.float32)


def group_levels(bands_db: np.ndarray) -> np.ndarray:
    """Sum third octaves into GROUPS [shape=(t, len(GROUPS))], dB."""
    power = 10 ** (bands_db / 10)
    columns = [power[:, BANDS_K.index(a) : BANDS_K.index(b) + 1].sum(axis=1) for a, b in GROUPS]
    return (10 * np.log10(np.maximum(np.stack(columns, axis=1), 1e-12))).astype(np.float32)


def segment_textures(features: ClipFeatures, combs: CombTracks) -> Segments:
    """Describe a clip segment by segment.

    Parameters
    ----------
    features : ClipFeatures
    combs : CombTracks

    Returns
    -------
    Segments
        A clip shorter than one segment gives one, made of what there is.
    """
    t = len(features.bands_db)
    if t == 0:
        return Segments(np.zeros((0, len(TEXTURE_NAMES)), np.float32), np.zeros(0))
    groups = group_levels(features.bands_db)
    rise = groups - rolling_floor(groups)
    count = 1 + max(0, t - CELLS) // HOP
    starts_s = np.arange(count) * SEGMENT_HOP_S
    parts = []
    for first in range(0, count, _AT_ONCE):
        stop = min(count, first + _AT_ONCE)
        parts.append(_described(features, groups, rise, slice(first * HOP, (stop - 1) * HOP + CELLS)))
    own = np.concatenate(parts)
    columns = [own, _onset_columns(features, starts_s), _comb_columns(combs, starts_s)]
    values = np.concatenate(columns, axis=1).astype(np.float32)
    return Segments(np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0), starts_s)


def _described(features: ClipFeatures, groups: np.ndarray, rise: np.ndarray, cells_of: slice) -> np.ndarray:
    """The columns that the cells alone give, for the segments within a range of cells."""

    def cells(values: np.ndarray) -> np.ndarray:
        values = values[cells_of] if values.ndim == 2 else values[cells_of, None]
        if len(values) < CELLS:
            values = np.pad(values, ((0, CELLS - len(values)), (0, 0)), mode="edge")
        return np.lib.stride_tricks.sliding_window_view(values, CELLS, axis=0)[::HOP]  # (k, columns, CELLS)

    bands = cells(features.bands_db[:, SHAPE_FROM:])
    mean_bands = 10 * np.log10(np.mean(10 ** (bands / 10), axis=2))
    shape = mean_bands - 10 * np.log10(np.sum(10 ** (mean_bands / 10), axis=1, keepdims=True))
    group_cells = cells(groups)
    centred = np.arange(CELLS) - (CELLS - 1) / 2
    slope = (group_cells * centred).sum(axis=2) / np.sum(centred**2) / CELL_S
    moving = (group_cells - group_cells.mean(axis=2, keepdims=True)).std(axis=2)
    flat = cells(features.flat_db)
    tone_db, tone_hz = cells(features.tone_db)[:, 0], cells(np.log2(np.maximum(features.tone_hz, 1.0)))[:, 0]
    crest, spread = cells(features.crest_db)[:, 0], cells(features.spread_db)[:, 0]
    columns = [
        shape,
        cells(rise).mean(axis=2),
        slope,
        moving,
        flat.mean(axis=2),
        flat.std(axis=2),
        tone_db.mean(axis=1, keepdims=True),
        np.percentile(tone_db, 80, axis=1)[:, None],
        tone_hz.std(axis=1, keepdims=True),
        crest.mean(axis=1, keepdims=True),
        crest.max(axis=1, keepdims=True),
        spread.mean(axis=1, keepdims=True),
        _modulation(cells(features.envelope_db)),
    ]
    return np.concatenate(columns, axis=1).astype(np.float32)


def _modulation(envelope: np.ndarray) -> np.ndarray:
    """Share of the movement of the level (1 kHz up) in four ranges of rate, and its size."""
    k = envelope.shape[0]
    series = envelope.transpose(0, 2, 1).reshape(k, -1)
    series = series - series.mean(axis=1, keepdims=True)
    n = series.shape[1]
    power = np.abs(np.fft.rfft(series * np.hanning(n), axis=1)) ** 2
    hz = np.fft.rfftfreq(n, CELL_S / 4)
    total = power[:, 1:].sum(axis=1, keepdims=True) + 1e-9
    shares = [power[:, (hz >= a) & (hz < b)].sum(axis=1, keepdims=True) / total for a, b in _MODULATION_HZ]
    peak = power[:, 2:].max(axis=1, keepdims=True) / total
    return np.concatenate([*shares, series.std(axis=1, keepdims=True), peak], axis=1)


def _onset_columns(features: ClipFeatures, starts_s: np.ndarray) -> np.ndarray:
    times = features.onsets.column("time_s")
    first = np.searchsorted(times, starts_s)
    last = np.searchsorted(times, starts_s + SEGMENT_S)
    count = last - first
    out = np.zeros((len(starts_s), 4), np.float32)
    out[:, 0] = np.minimum(count, 40)
    for column, name in ((1, "rise_db"), (2, "decay_ms"), (3, "centroid_hz")):
        cumulative = np.concatenate([[0.0], np.cumsum(features.onsets.column(name), dtype=np.float64)])
        out[:, column] = (cumulative[last] - cumulative[first]) / np.maximum(count, 1)
    out[:, 3] /= 1000.0
    return out


def _comb_columns(combs: CombTracks, starts_s: np.ndarray) -> np.ndarray:
    v = len(combs.even_n)
    if v == 0:
        return np.zeros((len(starts_s), 6), np.float32)
    # Of the 2 s windows that overlap a segment, the one whose middle is nearest.
    w = np.clip(np.round((starts_s + SEGMENT_S / 2 - 1.024) / LINE_S).astype(int), 0, v - 1)
    return np.stack(
        [
            combs.even_n[w],
            combs.odd_n[w],
            combs.even_over_db[w],
            combs.odd_over_db[w],
            combs.shaft_n[w],
            combs.shaft_share[w],
        ],
        axis=1,
    )
