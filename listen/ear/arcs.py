"""Arcs under a running pump, found by how the noise above the pump's own rises and beats.

An arc strikes anew in every half cycle of the mains, so its noise comes twice a cycle
(common practice; the power of an alternating arc passes through zero twice a cycle). A pump
stays as it is while it runs: what lies above 6 kHz then rises only if something joins it.
The texture model looks at one second at a time and sees the pump.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.steps import runs
from listen.features.collect import BEAT_HZ
from listen.spectra import CELL_S

#: Where an arc stands over a pump, Hz.
_RANGE_HZ = (6000.0, 17000.0)
#: Cells over which the beating is taken together (0.96 s), and how far apart (0.26 s).
_WINDOW, _HOP = 15, 4
#: Rise over the pump's own level, dB, in all of these bands but two; a pump's own level is a low percentile of its run.
_RISE_DB, _BANDS_BUT, _OWN = 5.0, 2, 30
#: How much of the noise beats twice a cycle, and how much more than while the pump runs alone (development scenes).
_BEATS, _BEATS_MORE = 0.28, 0.08
#: Beating of a run that hardly beats, what stands out from it, and for how many windows.
_HARDLY, _BEATS_ALONE, _AGREE_ALONE = 0.05, 0.14, 4
#: Windows that agree, and what of a run's edges is left out, s.
_AGREE, _EDGE_S = 2, 0.5
#: A pump of strokes rattles until it has drawn water, s (estimate).
_FILLS_S = 1.5
#: An estimate, kept low: nothing here has learnt what an arc sounds like.
_SURE = 0.6


def hear_arcs(levels: LevelTracks, pumps: Iterable[Draft], gravel: Sequence[Draft] = ()) -> list[Draft]:
    """Find what may be arcs while pumps run.

    Parameters
    ----------
    levels : LevelTracks
    pumps : iterable of Draft
        The pumps and motors heard in the clip.
    gravel : sequence of Draft
        Where a pump draws air: that noise beats a little by chance.
    """
    features = levels.features
    bands = levels.bands(*_RANGE_HZ)
    if not len(bands) or not len(features.beats):
        return []
    seconds = np.arange(len(features.beats))[:, None] * CELL_S
    turned = features.beats * np.exp(-2j * np.pi * seconds * np.array(BEAT_HZ))
    out: list[Draft] = []
    for pump in pumps:
        begins_s = pump.onset_s + (
            _FILLS_S if pump.sound == "stroke_train" and not pump.open_start else _EDGE_S
        )
        cells = levels.between(begins_s, pump.offset_s - _EDGE_S)
        starts = np.arange(cells.start, cells.stop - _WINDOW + 1, _HOP)
        if len(starts) < 2 * _AGREE:
            continue
        own_db = np.percentile(bands[cells], _OWN, axis=0)
        rise_db = np.array([np.median(bands[s : s + _WINDOW], axis=0) for s in starts]) - own_db
        rises = np.sort(rise_db, axis=1)[:, min(_BANDS_BUT, rise_db.shape[1] - 1)] >= _RISE_DB
        twice = np.array([np.abs(turned[s : s + _WINDOW].mean(axis=0))[2:].max() for s in starts])
        arcs = runs(rises & (twice >= max(_BEATS, float(np.median(twice)) + _BEATS_MORE)), gap=1)
        arcs = [(a, b) for a, b in arcs if b - a >= _AGREE]
        if not arcs and pump.sound == "motor_run" and np.percentile(twice, _OWN) <= _HARDLY:
            # A motor's noise does not beat at all: here the beating tells, however little the noise rises.
            arcs = [(a, b) for a, b in runs(twice >= _BEATS_ALONE, gap=1) if b - a >= _AGREE_ALONE]
            arcs = [span for span in arcs if not _covered(starts, *span, gravel)]
        for first, stop in arcs:
            onset_s = float(starts[first]) * CELL_S
            offset_s = float(starts[stop - 1] + _WINDOW) * CELL_S
            level_db = float(np.median(rise_db[first:stop].max(axis=1)))
            out.append(Draft("arcing", onset_s, offset_s, _SURE, {"level_db": level_db}))
    return out


def _covered(starts: np.ndarray, first: int, stop: int, others: Sequence[Draft]) -> bool:
    onset_s, offset_s = float(starts[first]) * CELL_S, float(starts[stop - 1] + _WINDOW) * CELL_S
    return any(o.onset_s < offset_s and o.offset_s > onset_s for o in others)
