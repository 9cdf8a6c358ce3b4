"""How far the same measures reach once a generator's own makings are known.

Unscored scenes of the second generator (seeds that no list pins) are described as for
training. On scenes that it has not seen, a small network that was fitted to other scenes
of that generator stands beside the shipped model, which has seen none: what lies between
them is owed to makings that are new to the ear, not to its measures. Nothing of this may
be shipped, and nothing is chosen by it: the second generator stands for machines that
were never heard.

    python -m tests.measure.own_makings [--scenes 400] [--recordings FOLDER]
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed
from sklearn.metrics import average_precision_score
from sklearn.model_selection import GroupKFold

from listen.ear.bundle import Head, load_bundle
from listen.learn.labelled import Rows
from listen.learn.recipe import load_recipe
from listen.learn.train import stack_parts
from listen.resources import shipped
from synthetic_audio import FAMILIES
from tests.measure.calibrate import scene_rows
from tests.measure.clips import clips_folder
from tests.measure.model_compare import FOLDS, MODELS, scored_labels, thin

#: Far above the seeds of the calibration, which start at 6,500,000 of the same space.
FIRST = 40_000
#: How many scenes the network is fitted to.
SIZES = (25, 100, 300)
PARTS = ("textures", "onsets")
NETWORK = "network 48"


def described(scenes: int, recordings: Path | None) -> dict[str, Rows]:
    """Rows of unscored scenes of the second generator, by part of the ear."""
    families = [f for f in FAMILIES if f not in load_recipe(shipped("models") / "recipe.toml").long_families]
    parts = Parallel(2)(
        delayed(scene_rows)("second", FIRST + n, families[n % len(families)], recordings, ())
        for n in range(scenes)
    )
    stacked = stack_parts(parts)
    return {part: stacked[part] for part in PARTS}


def of_own(rows: Rows, fit: np.ndarray, held: np.ndarray, scenes: int, labels: Sequence[int]) -> np.ndarray:
    """Probabilities of the held rows by a network fitted to so many scenes of the others."""
    known = thin_to(rows, fit, scenes)
    mean, scale = rows.x[known].mean(axis=0), np.maximum(rows.x[known].std(axis=0), 1e-3)
    model = MODELS[NETWORK]().fit((rows.x[known] - mean) / scale, rows.y[known][:, list(labels)])  # type: ignore[attr-defined]
    return np.asarray(model.predict_proba((rows.x[held] - mean) / scale))


def thin_to(rows: Rows, fit: np.ndarray, scenes: int, seed: int = 1) -> np.ndarray:
    """Rows of `fit` that belong to so many scenes, drawn at random."""
    groups = np.unique(rows.group[fit])
    np.random.default_rng(seed).shuffle(groups)
    return fit[np.isin(rows.group[fit], groups[:scenes])]


def compare(part: str, rows: Rows, head: Head) -> None:
    """Print the average precision of each word: the shipped model, and networks that know the makings."""
    labels = scored_labels(rows)
    found = {name: np.full(rows.y.shape, np.nan) for name in ("shipped", *map(str, SIZES))}
    for fit, held in GroupKFold(FOLDS).split(rows.x, groups=rows.group):
        found["shipped"][held] = head.probabilities(rows.x[held])
        for scenes in SIZES:
            found[str(scenes)][np.ix_(held, labels)] = of_own(rows, fit, held, scenes, labels)
    names = "".join(f"{'own, ' + str(n):>12}" for n in SIZES)
    print(
        f"\n{part}: average precision on {len(rows.x)} rows of {len(np.unique(rows.group))} scenes, in {FOLDS} folds\n"
        f"  {'':14}{'scenes':>8}{'shipped':>10}{names}"
    )
    table = []
    for column in labels:
        line = [average_precision_score(rows.y[:, column], p[:, column]) for p in found.values()]
        holds = len(np.unique(rows.group[rows.y[:, column] == 1]))
        table.append(line)
        own = "".join(f"{value:12.2f}" for value in line[1:])
        print(f"  {head.labels[column]:14}{holds:8}{line[0]:10.2f}{own}")
    mean = np.mean(table, axis=0)
    print(f"  {'mean':14}{'':8}{mean[0]:10.2f}" + "".join(f"{value:12.2f}" for value in mean[1:]))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=int, default=400)
    parser.add_argument("--recordings", type=Path, help="Folder that the generator cuts its grains from.")
    options = parser.parse_args()
    heads = load_bundle(shipped("models") / "ear").heads
    for part, rows in described(options.scenes, options.recordings or clips_folder()).items():
        compare(part, thin(rows, 60_000), heads[part])


if __name__ == "__main__":
    # By its own name, so that other processes find it.
    from tests.measure import own_makings

    own_makings.main()
