"""What a model is given: the own measures of a segment or an onset, and what stands around it.

A second of running water behind a voice looks like the voice; what stays for
several seconds, and what the pauses leave, tells of the water. A stroke that
starts a pump or ends a hum differs from a cup by what it leaves behind.

Conventions
-----------
Levels are relative to the segment's or the onset's own surroundings, never
absolute. Order statistics are taken on an absolute grid of cells, over what
there is of the clip.
"""

from __future__ import annotations

import numpy as np

from listen.features.collect import BEAT_HZ, ClipFeatures
from listen.features.names import TEXTURE_NAMES
from listen.features.onsets import ONSET_INPUTS
from listen.features.starts import START_NAMES, describe_cells
from listen.features.textures import CELLS, HOP, SHAPE_FROM, Segments
from listen.spectra import CELL_S

_BANDS = tuple(
    name.removeprefix("shape_").removesuffix("_db") for name in TEXTURE_NAMES if name.startswith("shape_")
)
_SHAPE_N = len(_BANDS)
#: Spans in cells to both sides, how many cells apart they are taken, and the percentiles: the pauses, and the rule.
_SPANS = ((31, 8, (10, 50)), (94, 16, (10,)))
#: Segments to both sides over which a segment's own measures are averaged.
_MEAN_SEGMENTS = 9
#: Noise that comes once or twice a mains cycle, at one phase all through a segment, at either mains.
_BEATS = ("beat_1f", "beat_2f")

#: The ordered inputs of the part for textures; a model bundle stores them and is refused if they differ.
TEXTURE_INPUTS: tuple[str, ...] = (
    *TEXTURE_NAMES,
    *(
        f"around_{2 * half * CELL_S:.0f}_s_{percentile}_{what}_db"
        for half, _, percentiles in _SPANS
        for percentile in percentiles
        for what in (*_BANDS, "level")
    ),
    *_BEATS,
    *(f"around_{name}" for name in (*TEXTURE_NAMES[_SHAPE_N:], *_BEATS)),
)
#: The ordered inputs of the part for onsets.
STROKE_INPUTS: tuple[str, ...] = (*ONSET_INPUTS, *(f"around_{name}" for name in START_NAMES))
_STROKE_EARLY_CELLS = 0.25


def texture_inputs(features: ClipFeatures, segments: Segments) -> np.ndarray:
    """Return what a model is given of each segment.

    Parameters
    ----------
    features : ClipFeatures
    segments : Segments
        Of the same clip.

    Returns
    -------
    np.ndarray [shape=(k, len(TEXTURE_INPUTS))], float32
    """
    k = len(segments.values)
    if not k:
        return np.zeros((0, len(TEXTURE_INPUTS)), np.float32)
    bands = features.bands_db[:, SHAPE_FROM:]
    beats = _locked_beats(features.beats, k)
    own_level = _total_db(_over_segments(10 ** (bands / 10), k), power=True)
    columns = [segments.values]
    for half, every, percentiles in _SPANS:
        values = _percentiles(bands, half, every, percentiles)
        at = np.minimum((np.arange(k) * HOP + CELLS // 2) // every, len(values) - 1)
        for n in range(len(percentiles)):
            level = _total_db(values[:, n])
            columns += [(values[:, n] - level)[at], level[at] - own_level]
    rest = np.concatenate([segments.values[:, _SHAPE_N:], beats], axis=1)
    return np.concatenate([*columns, beats, _smoothed(rest)], axis=1).astype(np.float32)


def _total_db(bands: np.ndarray, power: bool = False) -> np.ndarray:
    total = (bands if power else 10 ** (bands / 10)).sum(axis=1, keepdims=True)
    return 10 * np.log10(np.maximum(total, 1e-12))


def _locked_beats(beats: np.ndarray, k: int) -> np.ndarray:
    seconds = np.arange(len(beats))[:, None] * CELL_S
    turned = beats * np.exp(-2j * np.pi * seconds * np.array(BEAT_HZ))
    return np.abs(_over_segments(turned, k)).reshape(k, len(_BEATS), -1).max(axis=2)


def _over_segments(values: np.ndarray, k: int) -> np.ndarray:
    """Mean over the cells of each of the k segments [shape=(k, columns)]."""
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    start = np.arange(k) * HOP
    stop = np.minimum(start + CELLS, len(values))
    return (sums[stop] - sums[start]) / (stop - start)[:, None]


def _percentiles(bands: np.ndarray, half: int, every: int, percentiles: tuple[int, ...]) -> np.ndarray:
    """Order statistics around every so many cells [shape=(n, len(percentiles), bands)]."""
    centres = np.arange(every // 2, max(len(bands), every // 2 + 1), every)
    out = np.empty((len(centres), len(percentiles), bands.shape[1]), np.float32)
    for row, centre in enumerate(centres):
        piece = bands[max(0, min(centre - half, len(bands) - 1)) : centre + half + 1]
        places = [round(p / 100 * (len(piece) - 1)) for p in percentiles]
        out[row] = np.partition(piece, places, axis=0)[places]
    return out


def _smoothed(values: np.ndarray) -> np.ndarray:
    """Mean over the neighbouring segments; at the ends the last one is repeated."""
    reach, n = _MEAN_SEGMENTS, 2 * _MEAN_SEGMENTS + 1
    padded = np.pad(values, ((reach, reach), (0, 0)), mode="edge")
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(padded, axis=0, dtype=np.float64)])
    return (sums[n:] - sums[:-n]) / n


def stroke_inputs(features: ClipFeatures) -> np.ndarray:
    """Return what a model is given of each onset [shape=(k, len(STROKE_INPUTS))], float32."""
    onsets = features.onsets
    cells = (onsets.column("time_s") / CELL_S + _STROKE_EARLY_CELLS).astype(int)
    cells = np.clip(cells, 0, max(0, len(features.bands_db) - 1))
    return np.concatenate([onsets.inputs(), describe_cells(features, cells)], axis=1)
