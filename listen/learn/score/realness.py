"""How far synthetic sounds are from real ones, in the ear's own measures.

Medians stand side by side, and a logistic regression is asked to tell synthetic
from real recordings that it has not seen: 0.5 means that it cannot, 1 that it
always can. Real sounds are stand-ins of the train fold, never test clips.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from listen.features.collect import Collector
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.textures import SEGMENT_S, segment_textures
from listen.learn.score.intervals import between, resample_weights
from listen.learn.score.unfamiliar import area

#: Recordings of each kind from which a regression is tried, and its folds at most.
LEAST_RECORDINGS, FOLDS = 5, 5
#: Measures that are shown: those that differ most.
SHOWN = 6


@dataclass(frozen=True, slots=True)
class Textures:
    """Segment measures `rows` [shape=(k, len(TEXTURE_NAMES))] of one recording."""

    rows: np.ndarray
    recording: str


def textures_of(
    samples: np.ndarray, rate_hz: int, recording: str, span_s: tuple[float, float] | None = None
) -> Textures:
    """Measure the segments of a clip that lie wholly within a span (the whole clip if None).

    Parameters
    ----------
    samples : np.ndarray [shape=(n,)], float32
    rate_hz : int
    recording : str
    span_s : (float, float), optional
    """
    collector = Collector(rate_hz)
    collector.push(samples)
    features = collector.finish()
    segments = segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))
    low, high = span_s or (0.0, np.inf)
    inside = (segments.starts_s >= low - 1e-6) & (segments.starts_s + SEGMENT_S <= high + 1e-6)
    return Textures(segments.values[inside], recording)


def scale_of(parts: Sequence[Textures]) -> np.ndarray:
    """Return how far each measure spreads over recordings of all sounds [shape=(f,)]: its quartiles' distance."""
    low, high = np.percentile(_medians(parts), [25, 75], axis=0)
    return np.asarray(high - low)


def compare(
    real: Sequence[Textures], synthetic: Sequence[Textures], seed: int, scale: np.ndarray | None = None
) -> dict[str, Any]:
    """Set one sound's real and synthetic recordings against each other.

    Parameters
    ----------
    real, synthetic : sequence of Textures
        One row of medians a recording is what is compared; recordings without segments are left out.
    seed : int
    scale : np.ndarray [shape=(f,)], optional
        What distances are told in, from :func:`scale_of`; without it that of these recordings. A
        measure that hardly varies tells nothing and is not shown.

    Returns
    -------
    dict
        Counts, `area` (with interval) or `not_given`, and the measures that differ most.
    """
    a, b = _medians(real), _medians(synthetic)
    out: dict[str, Any] = {"real_recordings": len(a), "synthetic_recordings": len(b), "differ_most": []}
    if len(a) and len(b):
        out["differ_most"] = _differences(a, b, scale_of([*real, *synthetic]) if scale is None else scale)
    if min(len(a), len(b)) < LEAST_RECORDINGS:
        out["not_given"] = f"fewer than {LEAST_RECORDINGS} recordings of a kind"
        return out
    score = _held_out_scores(a, b, seed)
    first, second = score[: len(a)], score[len(a) :]
    left = resample_weights(len(a), 400, seed).astype(int)
    right = resample_weights(len(b), 400, seed + 1).astype(int)
    draws = np.array(
        [area(np.repeat(first, x), np.repeat(second, y)) for x, y in zip(left, right, strict=True)]
    )
    out["area"] = between(area(first, second), draws)
    return out


def _medians(parts: Sequence[Textures]) -> np.ndarray:
    """One row a recording [shape=(recordings, f)], in order of their names."""
    grouped: dict[str, list[np.ndarray]] = {}
    for part in parts:
        if len(part.rows):
            grouped.setdefault(part.recording, []).append(part.rows)
    rows = [np.median(np.concatenate(grouped[name]), axis=0) for name in sorted(grouped)]
    return np.array(rows, float).reshape(-1, len(TEXTURE_NAMES))


def _differences(a: np.ndarray, b: np.ndarray, scale: np.ndarray) -> list[dict[str, Any]]:
    """Measures by the distance of their medians, in their scale."""
    real, synthetic = np.median(a, axis=0), np.median(b, axis=0)
    distance = np.where(scale > 1e-6, np.abs(real - synthetic) / np.maximum(scale, 1e-6), 0.0)
    return [
        {
            "measure": TEXTURE_NAMES[n], "real": round(float(real[n]), 3), "synthetic": round(float(synthetic[n]), 3),
            "spreads_apart": round(float(distance[n]), 2),
        }
        for n in np.argsort(-distance, kind="stable")[:SHOWN]
    ]  # fmt: skip


def _held_out_scores(a: np.ndarray, b: np.ndarray, seed: int) -> np.ndarray:
    """Scores for 'synthetic' of each recording, by a regression that has not seen it."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import StratifiedKFold
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    x = np.concatenate([a, b])
    y = np.repeat([0, 1], [len(a), len(b)])
    score = np.zeros(len(x))
    folds = StratifiedKFold(min(FOLDS, len(a), len(b)), shuffle=True, random_state=seed)
    for train, held in folds.split(x, y):
        model = make_pipeline(
            StandardScaler(), LogisticRegression(C=0.1, class_weight="balanced", max_iter=2000)
        )
        score[held] = model.fit(x[train], y[train]).decision_function(x[held])
    return score
