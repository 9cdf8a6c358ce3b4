"""Fit one head in scikit-learn and bring it into the shipped form."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.linalg import block_diag

from listen.ear.bundle import Head
from listen.learn.labelled import Rows
from listen.learn.recipe import HeadRecipe

_FOLDS = 3
#: Learning rates one after the other, and each one's share of the passes: large steps find the way, small ones settle.
_STAGES = ((2e-3, 0.46), (5e-4, 0.31), (1e-4, 0.23))
_BATCH_ROWS = 256


def fit_network(rows: Rows, recipe: HeadRecipe, seed: int) -> tuple[Any, np.ndarray, np.ndarray]:
    """Train a small network on standardised rows, with learning rates that fall (`_STAGES`).

    Returns
    -------
    network : sklearn.neural_network.MLPClassifier
    mean, scale : np.ndarray [shape=(f,)]
    """
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.neural_network import MLPClassifier

    x = rows.x.astype(np.float64)
    mean, scale = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3)
    # Single precision halves the time and changes nothing that is heard.
    x = ((x - mean) / scale).astype(np.float32)
    network = MLPClassifier(
        hidden_layer_sizes=recipe.hidden, alpha=recipe.alpha, batch_size=min(_BATCH_ROWS, len(x)), random_state=seed,
        warm_start=True,
    )  # fmt: skip
    with warnings.catch_warnings():
        # The number of passes is part of the recipe.
        warnings.simplefilter("ignore", ConvergenceWarning)
        for rate, share in _STAGES:
            network.set_params(learning_rate_init=rate, max_iter=max(1, round(share * recipe.epochs)))
            network.fit(x, rows.y)
    return network, mean, scale


def mean_of(heads: Sequence[Head]) -> Head:
    """One head whose logits are the mean of those of several (uncalibrated): their layers side by side.

    They are given the same measures and name the same words; they may differ in their layers.
    """
    first = heads[0]
    if len(heads) == 1:
        return first
    last = max(len(h.weights) for h in heads) - 1
    heads = [_deepened(h, last) for h in heads]
    weights, biases = [], []
    for layer in range(last + 1):
        parts = [h.weights[layer] for h in heads]
        if layer == last:
            weights.append(np.concatenate(parts) / len(heads))
            biases.append(np.mean([h.biases[layer] for h in heads], axis=0))
            continue
        weights.append(np.concatenate(parts, axis=1) if layer == 0 else block_diag(*parts))
        biases.append(np.concatenate([h.biases[layer] for h in heads]))
    return Head(
        first.labels, first.mean, first.scale, tuple(weights), tuple(biases), first.slope, first.offset
    )


def _deepened(head: Head, last: int) -> Head:
    """The same head with more layers: what has passed a ReLU passes another one, behind the identity, unchanged."""
    missing, width = last + 1 - len(head.weights), len(head.weights[-1])
    return replace(
        head,
        weights=(*head.weights[:-1], *[np.eye(width)] * missing, head.weights[-1]),
        biases=(*head.biases[:-1], *[np.zeros(width)] * missing, head.biases[-1]),
    )


def fit_head(rows: Rows, recipe: HeadRecipe, seed: int, members: int = 1, n_jobs: int = 1) -> Head:
    """Fit the mean of several networks that differ in their seeds (uncalibrated)."""
    return _fit_heads([(rows, seed)], recipe, members, n_jobs)[0]


def _fit_heads(
    parts: Sequence[tuple[Rows, int]], recipe: HeadRecipe, members: int, n_jobs: int
) -> list[Head]:
    """Fit a head for each (rows, seed), all networks at once on the cores given."""
    from joblib import Parallel, delayed

    fits = Parallel(n_jobs=n_jobs)(
        delayed(fit_network)(rows, recipe, seed + 100 * n) for rows, seed in parts for n in range(members)
    )
    heads = [as_head(network, mean, scale, recipe.labels) for network, mean, scale in fits]
    return [mean_of(heads[n : n + members]) for n in range(0, len(heads), members)]


def as_head(network: Any, mean: np.ndarray, scale: np.ndarray, labels: tuple[str, ...]) -> Head:
    """Bring a fitted network into plain arrays (uncalibrated)."""
    return Head(
        labels, mean, scale,
        tuple(np.asarray(w, np.float64) for w in network.coefs_), tuple(np.asarray(b, np.float64) for b in network.intercepts_),
        np.ones(len(labels)), np.zeros(len(labels)),
    )  # fmt: skip


def calibrated(head: Head, rows: Rows, recipe: HeadRecipe, seed: int, n_jobs: int = 1) -> Head:
    """Calibrate each label by a sigmoid on out-of-fold logits, whole groups held out together.

    One network a fold stands for the mean of several: it is a little less sure, never more.
    """
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import GroupKFold

    logits = np.zeros(rows.y.shape)
    folds = list(GroupKFold(_FOLDS).split(rows.x, groups=rows.group))
    parts = [
        (Rows(rows.x[train], rows.y[train], rows.group[train]), seed + 1 + n)
        for n, (train, _) in enumerate(folds)
    ]
    for (_, held), part in zip(folds, _fit_heads(parts, recipe, 1, n_jobs), strict=True):
        logits[held] = part.logits(rows.x[held])
    slope, offset = np.ones(len(recipe.labels)), np.zeros(len(recipe.labels))
    for column in range(len(recipe.labels)):
        y = rows.y[:, column]
        if y.min() == y.max():
            continue
        fitted = LogisticRegression(C=1e3).fit(logits[:, [column]], y)
        slope[column], offset[column] = max(0.05, float(fitted.coef_[0, 0])), float(fitted.intercept_[0])
    return Head(head.labels, head.mean, head.scale, head.weights, head.biases, slope, offset)
