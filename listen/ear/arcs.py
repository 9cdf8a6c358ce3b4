"""Arcs, found by how their noise rises and beats: under a running pump, and where nothing else beats.

An arc strikes anew in every half cycle of the mains, so its noise comes twice a cycle
(common practice; the power of an alternating arc passes through zero twice a cycle). A pump
stays as it is while it runs: what lies above 6 kHz then rises only if something joins it.
The texture model knows the colours of the arcs that it learned from; it looks at one second at
a time, and sees the pump.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.steps import runs, step_times
from listen.features.collect import BEAT_HZ, ClipFeatures
from listen.spectra import CELL_S

#: Where an arc stands over a pump, Hz.
_RANGE_HZ = (6000.0, 17000.0)
#: Cells over which the beating is taken together (0.96 s), and how far apart (0.26 s).
_WINDOW, _HOP = 15, 4
#: Rise over the pump's own level, dB, in all of these bands but two; a pump's own level is a low percentile of its run.
_RISE_DB, _BANDS_BUT, _OWN = 5.0, 2, 30
#: How much of the noise beats twice a cycle, and how much more than while the pump runs alone (development scenes).
_BEATS, _BEATS_MORE = 0.28, 0.08
#: Beating of a run that hardly beats, what stands out from it, for how many windows, and how far some band rises, dB.
_HARDLY, _BEATS_ALONE, _AGREE_ALONE, _RISE_ALONE_DB = 0.05, 0.14, 4, 1.0
#: Without a pump: beating, how many times that of the rest of the clip and of once a cycle, rise in three bands, dB.
_ALONE_BEATS, _ALONE_RATIO, _ALONE_TWICE, _ALONE_RISE_DB, _ALONE_BANDS = 0.2, 2.0, 1.3, 6.0, 3
#: Beating and rise that confirm what the model hardly names: less than what tells an arc alone.
_CONFIRMS, _CONFIRMS_DB = 0.12, 3.0
#: A rise so high vouches for one that the model hardly names (unscored scenes; from a tenth to a half: 9 arcs of 11, 2 others of 32), dB.
_VOUCHES_DB = 10.0
#: An arc that is hardly named is told too long: this percentile of what it spans must rise so.
_MOSTLY = 75
#: It is something's own noise where that lasts for so much of it.
_BESIDE = 0.4
#: A coil buzzes on, an arc does not: times as long as the arc.
_LONGER = 2.0
#: What begins and ends with a motor is its own noise, s.
_WITH_S = 0.5
#: Windows that agree, and what of a run's edges is left out, s.
_AGREE, _EDGE_S = 2, 0.5
#: Where its edges are looked for, s around the first and the last window, and how high they are, dB.
_AROUND_S, _INTO_S, _STEP_DB = 0.4, 0.9, 3.0
#: A pump of strokes rattles until it has drawn water, s (estimate).
_FILLS_S = 1.5
#: An estimate, kept low: nothing here has learnt what an arc sounds like.
_SURE = 0.6


def hear_arcs(levels: LevelTracks, pumps: Sequence[Draft], beating: Sequence[Draft]) -> list[Draft]:
    """Find what may be arcs.

    Parameters
    ----------
    levels : LevelTracks
    pumps : sequence of Draft
        The pumps and motors heard in the clip.
    beating : sequence of Draft
        What else beats, at its own rate or by chance: buzzing coils, trains of clicks, gravel.
    """
    bands = levels.bands(*_RANGE_HZ)
    if len(bands) <= _WINDOW or not len(levels.features.beats):
        return []
    beats = _Beats(levels.features)
    gravel = [d for d in beating if d.sound == "gravel"]
    buzzes = [d for d in beating if d.sound == "mains_buzz"]
    strokes = [p for p in pumps if p.sound == "stroke_train"]
    out = []
    for pump in pumps:
        # Beside a motor that was there before, a pump of strokes beats by itself.
        other = [] if pump.sound == "stroke_train" else strokes
        out += [
            arc
            for arc in _under(pump, levels, bands, beats, gravel)
            if not _of_a_coil(arc, buzzes)
            and not any(_of_another(arc, p) for p in pumps if p is not pump)
            and not any(s.overlap_s(arc) > _BESIDE * arc.duration_s for s in other)
        ]
    alone = _alone(bands, beats, [*pumps, *beating])
    return out + [arc for arc in alone if not any(d.overlap_s(arc) > 0.0 for d in out)]


def confirm_arcs(levels: LevelTracks, named: Sequence[Draft]) -> list[Draft]:
    """Ask the noise about what the model hardly names an arc: two signs of different kinds.

    What rises and beats as one as well becomes surer. Returned is what the noise does not vouch for:
    it does not beat so, and does not rise far either.
    """
    bands = levels.bands(*_RANGE_HZ)
    faint = [d for d in named if d.probability < _SURE]
    if not faint or len(bands) <= _WINDOW or not len(levels.features.beats):
        return []
    starts = np.arange(0, len(bands) - _WINDOW, _HOP)
    rise_db = _rises_db(bands, starts, np.percentile(bands, _OWN, axis=0))[:, -_ALONE_BANDS:].mean(axis=1)
    once, twice = _Beats(levels.features)(starts)
    middle_s = (starts + _WINDOW / 2) * CELL_S
    rest = float(np.percentile(twice, _OWN))
    doubted = []
    for draft in faint:
        inside = (middle_s >= draft.onset_s) & (middle_s <= draft.offset_s)
        if not inside.any():
            continue
        beats, rises_db = float(np.median(twice[inside])), float(np.median(rise_db[inside]))
        as_arc = beats >= max(_CONFIRMS, _ALONE_RATIO * rest, _ALONE_TWICE * float(np.median(once[inside])))
        if as_arc and rises_db >= _CONFIRMS_DB:
            draft.probability = _SURE
        elif float(np.percentile(rise_db[inside], _MOSTLY)) < _VOUCHES_DB:
            doubted.append(draft)
    return doubted


class _Beats:
    """How much the noise of a window beats once and twice a mains cycle, each in one phase all through it."""

    def __init__(self, features: ClipFeatures) -> None:
        seconds = np.arange(len(features.beats))[:, None] * CELL_S
        turned = features.beats * np.exp(-2j * np.pi * seconds * np.array(BEAT_HZ))
        self._sums = np.concatenate([np.zeros((1, len(BEAT_HZ))), np.cumsum(turned, axis=0)])

    def __call__(self, starts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Once and twice a cycle, 0 to 1, of windows from some cells on [shape=(k,) each]."""
        sizes = np.abs(self._sums[starts + _WINDOW] - self._sums[starts]) / _WINDOW
        return sizes[:, :2].max(axis=1), sizes[:, 2:].max(axis=1)


def _rises_db(bands: np.ndarray, starts: np.ndarray, own_db: np.ndarray) -> np.ndarray:
    """Level of each band in each window over its own, dB, from the least to the most [shape=(k, bands)]."""
    windows = np.lib.stride_tricks.sliding_window_view(bands, _WINDOW, axis=0)[starts]
    return np.sort(np.median(windows, axis=-1) - own_db, axis=1)


def _under(
    pump: Draft, levels: LevelTracks, bands: np.ndarray, beats: _Beats, gravel: Sequence[Draft]
) -> list[Draft]:
    draws_s = _FILLS_S if pump.sound == "stroke_train" and not pump.open_start else _EDGE_S
    cells = levels.between(pump.onset_s + draws_s, pump.offset_s - _EDGE_S)
    starts = np.arange(cells.start, min(cells.stop, len(bands)) - _WINDOW + 1, _HOP)
    if len(starts) < 2 * _AGREE:
        return []
    rise_db = _rises_db(bands, starts, np.percentile(bands[cells], _OWN, axis=0))
    rises = rise_db[:, min(_BANDS_BUT, rise_db.shape[1] - 1)] >= _RISE_DB
    _, twice = beats(starts)
    spans = runs(rises & (twice >= max(_BEATS, float(np.median(twice)) + _BEATS_MORE)), gap=1)
    arcs = [_arc(bands, starts, rise_db, a, b) for a, b in spans if b - a >= _AGREE]
    if arcs or pump.sound != "motor_run" or np.percentile(twice, _OWN) > _HARDLY:
        return arcs
    # A motor's noise does not beat at all: here the beating tells, however little the noise rises.
    joins = (twice >= _BEATS_ALONE) & (rise_db[:, -1] >= _RISE_ALONE_DB)
    spans = [(a, b) for a, b in runs(joins, gap=1) if b - a >= _AGREE_ALONE]
    arcs = [_arc(bands, starts, rise_db, a, b) for a, b in spans]
    return [arc for arc in arcs if not any(arc.overlap_s(g) > 0.0 for g in gravel)]


def _of_a_coil(arc: Draft, buzzes: Sequence[Draft]) -> bool:
    """Whether a coil buzzes all along and far beyond: its noise beats as well."""
    return any(
        b.overlap_s(arc) > _BESIDE * arc.duration_s and b.duration_s > _LONGER * arc.duration_s
        for b in buzzes
    )


def _of_another(arc: Draft, pump: Draft) -> bool:
    """Whether it begins and ends with another motor: that motor's own noise."""
    return abs(arc.onset_s - pump.onset_s) < _WITH_S and abs(arc.offset_s - pump.offset_s) < _WITH_S


def _alone(bands: np.ndarray, beats: _Beats, others: Sequence[Draft]) -> list[Draft]:
    starts = np.arange(0, len(bands) - _WINDOW, _HOP)
    rise_db = _rises_db(bands, starts, np.percentile(bands, _OWN, axis=0))
    once, twice = beats(starts)
    active = (
        (twice >= max(_ALONE_BEATS, _ALONE_RATIO * float(np.percentile(twice, _OWN))))
        & (twice > _ALONE_TWICE * once)
        & (rise_db[:, -_ALONE_BANDS:].mean(axis=1) >= _ALONE_RISE_DB)
    )
    out = []
    for first, stop in runs(active, gap=1):
        span = Draft("arcing", *_span_s(starts, first, stop), _SURE)
        if stop - first >= _AGREE and not any(o.overlap_s(span) > _BESIDE * span.duration_s for o in others):
            out.append(_arc(bands, starts, rise_db, first, stop))
    return out


def _span_s(starts: np.ndarray, first: int, stop: int) -> tuple[float, float]:
    return float(starts[first]) * CELL_S, float(starts[stop - 1] + _WINDOW) * CELL_S


def _arc(bands: np.ndarray, starts: np.ndarray, rise_db: np.ndarray, first: int, stop: int) -> Draft:
    """What some windows hold, from where its level rises to where it falls."""
    onset_s, offset_s = _span_s(starts, first, stop)
    begins_s, rise = step_times(bands, onset_s - _AROUND_S, onset_s + _INTO_S, rising=True)
    ends_s, fall = step_times(bands, offset_s - _INTO_S, offset_s + _AROUND_S, rising=False)
    onset_s = begins_s if rise >= _STEP_DB else onset_s
    offset_s = ends_s if fall >= _STEP_DB and ends_s > onset_s else max(offset_s, onset_s + CELL_S)
    return Draft("arcing", onset_s, offset_s, _SURE, {"level_db": float(np.median(rise_db[first:stop, -1]))})
