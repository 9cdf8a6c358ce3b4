"""Train the small classifier from labelled clips and write it as a bundle."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from listen.ear.bundle import Head
from listen.learn.export import write_bundle
from listen.learn.fit import calibrated, fit_head
from listen.learn.labelled import Rows
from listen.learn.recipe import HeadRecipe, Recipe


def stack(parts: Iterable[Rows]) -> Rows:
    """Put the rows of many clips together."""
    parts = list(parts)
    return Rows(
        np.concatenate([p.x for p in parts]),
        np.concatenate([p.y for p in parts]),
        np.concatenate([p.group for p in parts]),
    )


def train_model(
    textures: Rows,
    onsets: Rows,
    recipe: Recipe,
    folder: str | Path,
    *,
    trained_on: str,
    echo: Callable[[str], object] = print,
    n_jobs: int = 1,
) -> Path:
    """Fit, calibrate and write both heads.

    Parameters
    ----------
    textures, onsets : Rows
        Of all training clips.
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
    parts: tuple[tuple[str, Rows, HeadRecipe], ...] = (
        ("textures", textures, recipe.textures),
        ("onsets", onsets, recipe.onsets),
    )
    for name, rows, part in parts:
        counts = {label: int(n) for label, n in zip(part.labels, rows.y.sum(axis=0), strict=True)}
        echo(
            f"{name}: {len(rows.x)} rows from {len(np.unique(rows.group))} clips; "
            + ", ".join(f"{k} {v}" for k, v in counts.items())
        )
        head = fit_head(rows, part, recipe.seed, recipe.members, n_jobs)
        heads[name] = calibrated(head, rows, part, recipe.seed, n_jobs)
        facts[name] = {"rows": len(rows.x), "clips": len(np.unique(rows.group)), "positives": counts}
    return write_bundle(folder, heads, version=recipe.version, trained_on=trained_on, facts=facts)
