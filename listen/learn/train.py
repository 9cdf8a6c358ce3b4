"""Train the small classifier from labelled clips and write it as a bundle."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np

from listen.ear.bundle import Head
from listen.learn.export import write_bundle
from listen.learn.fit import calibrated, fit_head
from listen.learn.labelled import PartRows, Rows
from listen.learn.recipe import HeadRecipe, Recipe


def stack_parts(clips: Iterable[PartRows]) -> PartRows:
    """Put the rows of many clips together, part by part."""
    clips = list(clips)
    return {name: stack(clip[name] for clip in clips) for name in clips[0]}


def stack(parts: Iterable[Rows]) -> Rows:
    """Put the rows of many clips together."""
    parts = list(parts)
    return Rows(
        np.concatenate([p.x for p in parts]),
        np.concatenate([p.y for p in parts]),
        np.concatenate([p.group for p in parts]),
    )


def train_model(
    rows: Mapping[str, Rows],
    recipe: Recipe,
    folder: str | Path,
    *,
    trained_on: str,
    echo: Callable[[str], object] = print,
    n_jobs: int = 1,
) -> Path:
    """Fit, calibrate and write every part of the model.

    Parameters
    ----------
    rows : mapping of str to Rows
        Of all training clips, by part of the model (:func:`listen.learn.labelled.rows_of`).
    recipe : Recipe
    folder : path
        Where the bundle goes.
    trained_on : str
        One sentence that the report repeats.
    echo : callable
        Gets a line of progress at a time.
    n_jobs : int
        Networks fitted at once; -1 for all cores. The result does not depend on it.
    """
    heads: dict[str, Head] = {}
    facts: dict[str, object] = {"seed": recipe.seed}
    for name, own in rows.items():
        part: HeadRecipe = getattr(recipe, name)
        counts = {label: int(n) for label, n in zip(part.labels, own.y.sum(axis=0), strict=True)}
        echo(
            f"{name}: {len(own.x)} rows from {len(np.unique(own.group))} clips; "
            + ", ".join(f"{k} {v}" for k, v in counts.items())
        )
        head = fit_head(own, part, recipe.seed, recipe.members, n_jobs)
        heads[name] = calibrated(head, own, part, recipe.seed, n_jobs)
        facts[name] = {"rows": len(own.x), "clips": len(np.unique(own.group)), "positives": counts}
    return write_bundle(folder, heads, version=recipe.version, trained_on=trained_on, facts=facts)
