"""Gravel on a pump that is told by two signs together, where neither the model nor the level would do alone.

A pump that is short of water, or draws air, crackles: bubbles collapse by chance, so the noise that
lies on the even running of motor or strokes is ragged from moment to moment (common practice).
The texture model hardly ever gives its word for it to a pump that runs well, however unlike the
gravel is that it learned from: there little of it says much, if the level is ragged as well.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.steps import runs
from listen.features.textures import SEGMENT_S, Segments

#: Mean probability over a run of the pump, and the least in a second of it. Unscored scenes of the second generator and training
#: scenes: 11 pumps of 475 that are not starved are as ragged as below, and reach 0.001; 47 of 59 starved ones of that generator reach 0.025.
_MEAN, _LEAST = 0.025, 0.015
#: How much the level changes from 16 ms to the next, dB (unscored scenes of the second generator: 2.3 to 4.6, and 0.7 to 1.9); strokes are ragged themselves.
_RAGGED_DB = {"motor_run": 2.0, "stroke_train": 2.4}
#: Share of the run that must sound so, and what of its edges is left out: it fills, and runs down, s (estimate).
_SHARE, _FILLS_S, _EDGE_S = 0.6, 1.0, 0.3
_SHORTEST_S = 1.2
#: Words of what else crackles: it must be as likely as each of them.
_CRACKLES = ("arcing", "clatter", "rattle", "scrape", "speech", "splutter", "grinder", "music")
#: An estimate, kept low: no single second vouches for it.
_SURE = 0.6


def hear_rough_pumps(
    labels: Sequence[str],
    probability: np.ndarray,
    segments: Segments,
    levels: LevelTracks,
    pumps: Sequence[Draft],
) -> list[Draft]:
    """Find gravel on the pumps of a clip.

    Parameters
    ----------
    labels : sequence of str
        Words of the texture model.
    probability : np.ndarray [shape=(segments, words)]
    segments : Segments
    levels : LevelTracks
    pumps : sequence of Draft
        The pumps and motors heard in the clip.

    Returns
    -------
    list of Draft
        At most one for each pump; `measures` are left to the caller.
    """
    if "gravel" not in labels:
        return []
    gravel = probability[:, labels.index("gravel")]
    others = [n for n, word in enumerate(labels) if word in _CRACKLES]
    drafts: list[Draft] = []
    for pump in pumps:
        begins_s, ends_s = pump.onset_s + _FILLS_S, pump.offset_s - _EDGE_S
        inside = np.flatnonzero(
            (segments.starts_s >= pump.onset_s + 0.5 * _FILLS_S)
            & (segments.starts_s + SEGMENT_S <= pump.offset_s)
        )
        if ends_s - begins_s < _SHORTEST_S or not len(inside):
            continue
        means = probability[inside].mean(axis=0)
        rough = gravel[inside] >= _LEAST
        if (
            gravel[inside].mean() < max(_MEAN, means[others].max(initial=0.0))
            or rough.mean() < _SHARE
            or levels.ragged_db(begins_s, ends_s) < _RAGGED_DB[pump.sound]
        ):
            continue
        spans = runs(rough, gap=2)
        first, stop = max(spans, key=lambda s: s[1] - s[0])
        onset_s = max(begins_s, float(segments.starts_s[inside[first]]))
        offset_s = (
            pump.offset_s if stop == len(rough) else float(segments.starts_s[inside[stop - 1]]) + SEGMENT_S
        )
        drafts.append(
            Draft("gravel", onset_s, offset_s, _SURE, {}, False, pump.open_end and stop == len(rough))
        )
    return drafts
