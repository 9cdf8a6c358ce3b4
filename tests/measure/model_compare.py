"""Compare small models for each part of the ear on inner folds: which kind, which size, which measures.

Clips of the recipe's training split are rendered and described; folds keep a clip
(or a recording) whole. No held-out scene, second generator or test recording is
read, so that looking costs nothing. The figure is the mean over labels of the
average precision (n = labels with enough clips that hold them), with its
standard error over folds; the simplest within one standard error of the best is
named.

    python -m tests.measure.model_compare [--clips 500] [--part textures]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator

import numpy as np
from joblib import Parallel, delayed
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import average_precision_score
from sklearn.model_selection import GroupKFold
from sklearn.multioutput import MultiOutputClassifier
from sklearn.neural_network import MLPClassifier

from listen.cli.training_scenes import clip_rows, plan
from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS
from listen.features.starts import START_NAMES
from listen.learn.labelled import PartRows, Rows
from listen.learn.recipe import load_recipe
from listen.learn.train import stack_parts
from listen.resources import shipped
from synthetic_audio import FAMILIES

FOLDS = 4
#: A label is scored where this many clips hold it.
LEAST_CLIPS = 12
#: Rows of a part that are kept, drawn at random by clip: enough to rank models.
MOST_ROWS = 24_000
NAMES = {"textures": TEXTURE_INPUTS, "onsets": STROKE_INPUTS, "starts": START_NAMES}
#: Groups of measures to leave out, by the beginnings of their names.
GROUPS: dict[str, dict[str, tuple[str, ...]]] = {
    "textures": {
        "shape": ("shape",), "rise": ("rise",), "slope and movement": ("slope", "moving"), "flatness": ("flat",),
        "tone": ("tone",), "crest and spread": ("crest", "spread"), "modulation": ("modulation",),
        "onsets": ("onset",), "combs": ("locked", "shaft"), "beats": ("beat", "around_beat"),
        "pauses and rule of 4 and 12 s": ("around_4", "around_12"),
        "all that stands around": ("around",),
    },
    "onsets": {
        "patch": ("patch",), "colour of floor and stroke": ("floor", "stroke"),
        "neighbours": ("near", "gap", "around_count", "around_lead", "around_colour"),
        "cells before and after": tuple(f"around_{name}" for name in START_NAMES),
    },
    "starts": {
        "before and after": ("over", "before"), "colour": ("flat", "tone", "crest", "spread"), "unrest": ("moving",),
        "frames": ("frame",), "onsets": ("onsets",),
    },
}  # fmt: skip

#: From simple to rich; the first within one standard error of the best is named.
MODELS: dict[str, Callable[[], object]] = {
    "logistic": lambda: MultiOutputClassifier(LogisticRegression(C=0.1, max_iter=400)),
    "network 16": lambda: _network((16,)),
    "network 48": lambda: _network((48,)),
    "network 96-32": lambda: _network((96, 32)),
    "boosted trees": lambda: MultiOutputClassifier(
        HistGradientBoostingClassifier(max_iter=80, learning_rate=0.15)
    ),
}


def _network(hidden: tuple[int, ...]) -> MLPClassifier:
    return MLPClassifier(
        hidden, alpha=0.1, max_iter=15, batch_size=256, learning_rate_init=2e-3, random_state=1
    )


def thin(rows: Rows, most: int, seed: int = 1) -> Rows:
    """Keep whole clips, drawn at random, until there are `most` rows."""
    groups = np.unique(rows.group)
    np.random.default_rng(seed).shuffle(groups)
    counts = np.array([int((rows.group == g).sum()) for g in groups])
    kept = groups[: max(FOLDS, int(np.searchsorted(np.cumsum(counts), most)))]
    chosen = np.isin(rows.group, kept)
    return Rows(rows.x[chosen], rows.y[chosen], rows.group[chosen])


def scored_labels(rows: Rows) -> list[int]:
    """Columns that enough clips hold."""
    return [c for c in range(rows.y.shape[1]) if len(np.unique(rows.group[rows.y[:, c] == 1])) >= LEAST_CLIPS]


def folds(rows: Rows) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Rows to fit and to score, no clip in both."""
    yield from GroupKFold(FOLDS).split(rows.x, groups=rows.group)


def precision(
    rows: Rows, make: Callable[[], object], columns: np.ndarray | None = None
) -> tuple[float, float]:
    """Mean average precision over labels, and its standard error over folds."""
    x = rows.x if columns is None else rows.x[:, columns]
    labels = scored_labels(rows)
    values = []
    for fit, held in folds(rows):
        own = [c for c in labels if rows.y[fit, c].any() and rows.y[held, c].any()]
        mean, scale = x[fit].mean(axis=0), np.maximum(x[fit].std(axis=0), 1e-3)
        model = make().fit((x[fit] - mean) / scale, rows.y[fit][:, own])  # type: ignore[attr-defined]
        given = model.predict_proba((x[held] - mean) / scale)
        p = np.column_stack([g[:, 1] for g in given]) if isinstance(given, list) else given
        values.append(np.mean([average_precision_score(rows.y[held, c], p[:, k]) for k, c in enumerate(own)]))
    return float(np.mean(values)), float(np.std(values, ddof=1) / np.sqrt(len(values)))


def compare(part: str, rows: Rows) -> None:
    """Print every model, then the plain network without each group of measures."""
    print(
        f"\n{part}: {len(rows.x)} rows of {len(np.unique(rows.group))} clips, {len(scored_labels(rows))} labels"
    )
    found = {}
    for name, make in MODELS.items():
        start_s = time.perf_counter()
        found[name] = precision(rows, make)
        print(
            f"  {name:<28} {found[name][0]:.3f} ± {found[name][1]:.3f}   {time.perf_counter() - start_s:4.0f} s"
        )
    best = max(found, key=lambda n: found[n][0])
    enough = next(n for n in found if found[n][0] >= found[best][0] - found[best][1])
    print(f"  best: {best}; the simplest within one standard error: {enough}")
    for group, starts in GROUPS[part].items():
        left = np.array([not n.startswith(starts) for n in NAMES[part]])
        mean, error = precision(rows, MODELS["network 48"], np.flatnonzero(left))
        change = mean - found["network 48"][0]
        print(
            f"  network 48 without {group:<28} {mean:.3f} ± {error:.3f} ({change:+.3f}, {(~left).sum()} measures)"
        )


def rendered(clips: int, jobs_at_once: int = 2) -> PartRows:
    """Rows of evenly chosen clips of the shipped recipe, recordings left out."""
    recipe = load_recipe(shipped("models") / "recipe.toml")
    jobs = plan(recipe, tuple(FAMILIES))
    chosen = jobs[:: max(1, len(jobs) // clips)]
    return stack_parts(Parallel(jobs_at_once)(delayed(clip_rows)(job, recipe) for job in chosen))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--clips", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--part", action="append", choices=list(NAMES))
    given = parser.parse_args()
    rows = rendered(given.clips, given.jobs)
    for part in given.part or NAMES:
        compare(part, thin(rows[part], MOST_ROWS))


if __name__ == "__main__":
    main()
