"""The simple models of the yardstick: what each learns from some folds and says of all other clips.

Conventions
-----------
Everything that is learnt (scaling, codebook, main directions, models) is learnt
from the rows of the given training clips alone. Scores are log probabilities of
an uncalibrated kind [shape=(clips, classes)]; NaN for the training clips.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import log_softmax
from sklearn.decomposition import PCA
from sklearn.ensemble import ExtraTreesClassifier, HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression
from sklearn.neural_network import MLPClassifier
from sklearn.svm import SVC

#: Words of the codebook, rounds of its learning, main directions kept of a patch, most patches learnt from.
WORDS, ROUNDS, DIRECTIONS, LEARN_FROM = 384, 12, 80, 24_000
_CLIP_AT = 4.0
_OWN = ("textures", "cells", "onsets")
_LIBROSA = ("mel", "mfcc", "tonal")
#: Sets of groups that a model is given.
GROUPS: dict[str, tuple[str, ...]] = {
    "textures": ("textures",),
    "cells": ("cells",),
    "onsets": ("onsets",),
    "own": _OWN,
    "mel": ("mel",),
    "mfcc": ("mfcc",),
    "tonal": ("tonal",),
    "modulation": ("modulation",),
    "covariance": ("covariance",),
    "codebook": ("codebook",),
    "librosa": _LIBROSA,
    "own+codebook": (*_OWN, "codebook"),
    "own+librosa": (*_OWN, *_LIBROSA),
    "all": (*_OWN, *_LIBROSA, "modulation", "covariance", "codebook"),
}


@dataclass(frozen=True, slots=True)
class Described:
    """Clips in numbers.

    Attributes
    ----------
    groups : dict of str to np.ndarray [shape=(clips, speeds, columns)]
    patches : np.ndarray [shape=(all patches, values)]
    owner : np.ndarray [shape=(all patches,)]
        `clip * speeds + speed` of each patch, ascending.
    labels : np.ndarray [shape=(clips,)]
    folds : np.ndarray [shape=(clips,)]
    """

    groups: dict[str, np.ndarray]
    patches: np.ndarray
    owner: np.ndarray
    labels: np.ndarray
    folds: np.ndarray


def codebook(data: Described, train: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Learn words (spherical k-means) from the patches of the training clips and count them in all.

    Parameters
    ----------
    data : Described
    train : np.ndarray [shape=(clips,)] of bool
    rng : np.random.Generator

    Returns
    -------
    np.ndarray [shape=(clips, speeds, 3 * WORDS)]
        Mean, spread and 95th percentile over time of each word's answer.
    """
    n_clips, speeds = data.groups["textures"].shape[:2]
    mine = np.flatnonzero(train[data.owner // speeds])
    some = data.patches[np.sort(rng.choice(mine, min(LEARN_FROM, len(mine)), replace=False))].astype(
        np.float32
    )
    centre = some.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((some - centre).T))
    turn = (vectors[:, -DIRECTIONS:] / np.sqrt(values[-DIRECTIONS:] + 0.01 * values[-1])).astype(np.float32)

    def turned(patches: np.ndarray) -> np.ndarray:
        return (patches.astype(np.float32) - centre) @ turn

    points = turned(some)
    words = points[rng.choice(len(points), WORDS, replace=False)]
    words /= np.linalg.norm(words, axis=1, keepdims=True)
    for _ in range(ROUNDS):
        answer = points @ words.T
        best = answer.argmax(axis=1)
        moved = np.zeros_like(words)
        np.add.at(moved, best, points * answer[np.arange(len(best)), best][:, None])
        length = np.linalg.norm(moved, axis=1, keepdims=True)
        words = np.where(length > 1e-6, moved / np.maximum(length, 1e-6), words)
    edges = np.searchsorted(data.owner, np.arange(n_clips * speeds + 1))
    out = np.zeros((n_clips * speeds, 3 * WORDS), np.float32)
    for row, (first, stop) in enumerate(pairwise(edges)):
        answer = np.maximum(turned(data.patches[first:stop]) @ words.T, 0.0)
        out[row] = np.concatenate(
            [answer.mean(axis=0), answer.std(axis=0), np.percentile(answer, 95, axis=0)]
        )
    return np.sqrt(out).reshape(n_clips, speeds, -1)


@dataclass(frozen=True, slots=True)
class Split:
    """Scaled rows of one training set: `x` by group [shape=(clips, speeds, columns)], `distance` by group."""

    x: dict[str, np.ndarray]
    distance: dict[str, np.ndarray]
    train: np.ndarray
    labels: np.ndarray

    def rows(self, groups: tuple[str, ...]) -> np.ndarray:
        """Return the columns of some groups, each group with an equal say [shape=(clips, speeds, columns)]."""
        weights = [np.sqrt(1000.0 / self.x[g].shape[2]) if len(groups) > 1 else 1.0 for g in groups]
        return np.concatenate([w * self.x[g] for w, g in zip(weights, groups, strict=True)], axis=2)


def prepare(data: Described, train: np.ndarray, rng: np.random.Generator) -> Split:
    """Scale all groups by the training clips, and measure all distances to these."""
    groups = {**data.groups, "codebook": codebook(data, train, rng)}
    scaled, distance = {}, {}
    for name, values in groups.items():
        known = values[train].reshape(-1, values.shape[2])
        spread = known.std(axis=0)
        x = (values - known.mean(axis=0)) / np.where(spread > 1e-6, spread, 1.0)
        scaled[name] = np.clip(x, -_CLIP_AT, _CLIP_AT).astype(np.float32)
        every = scaled[name].reshape(-1, values.shape[2])
        near = scaled[name][train].reshape(-1, values.shape[2])
        squares = (every**2).sum(axis=1)[:, None] + (near**2).sum(axis=1) - 2 * every @ near.T
        distance[name] = np.maximum(squares, 0.0) / (2 * values.shape[2])
    return Split(scaled, distance, train, data.labels)


def _averaged(log_probability: np.ndarray, split: Split) -> np.ndarray:
    """Mean over the speeds of a clip [shape=(clips, classes)], NaN for the training clips."""
    n_clips = len(split.train)
    out = log_probability.reshape(n_clips, -1, log_probability.shape[1]).mean(axis=1)
    return np.where(split.train[:, None], np.nan, out)


def _svm(split: Split, groups: tuple[str, ...], c: float) -> np.ndarray:
    distance = sum(split.distance[g] for g in groups) / len(groups)
    kernel = np.exp(-distance)
    speeds = split.x["textures"].shape[1]
    y = np.repeat(split.labels[split.train], speeds)
    model = SVC(C=c, kernel="precomputed", decision_function_shape="ovr")
    model.fit(kernel[np.repeat(split.train, speeds)], y)
    return _averaged(log_softmax(model.decision_function(kernel), axis=1), split)


def _fitted(split: Split, x: np.ndarray, model: object, *, copies: bool = True) -> np.ndarray:
    """Fit a model of scikit-learn to the training rows and ask it of all rows."""
    speeds = x.shape[1] if copies else 1
    known = x[split.train, :speeds].reshape(-1, x.shape[2])
    model.fit(known, np.repeat(split.labels[split.train], speeds))  # type: ignore[attr-defined]
    probability = model.predict_proba(x.reshape(-1, x.shape[2]))  # type: ignore[attr-defined]
    return _averaged(np.log(np.maximum(probability, 0.01 / probability.shape[1])), split)


def _directions(split: Split, groups: tuple[str, ...], n: int = 160) -> np.ndarray:
    """Main directions of the training rows, whitened a little [shape=(clips, speeds, n)]."""
    x = split.rows(groups)
    n = min(n, x[split.train].size // x.shape[2] - 1, x.shape[2])
    pca = PCA(n, svd_solver="randomized", random_state=0, iterated_power=2).fit(
        x[split.train].reshape(-1, x.shape[2])
    )
    turned = pca.transform(x.reshape(-1, x.shape[2])) / np.sqrt(np.sqrt(pca.explained_variance_))
    turned = turned.reshape(*x.shape[:2], n)
    return turned / turned[split.train].std()


def _logistic(split: Split, groups: tuple[str, ...], c: float) -> np.ndarray:
    return _fitted(split, _directions(split, groups), LogisticRegression(C=c, max_iter=300))


def _extra_trees(split: Split, groups: tuple[str, ...], _: float) -> np.ndarray:
    return _fitted(split, split.rows(groups), ExtraTreesClassifier(300, random_state=0, min_samples_leaf=2))


def _forest(split: Split, groups: tuple[str, ...], _: float) -> np.ndarray:
    return _fitted(split, split.rows(groups)[:, :1], RandomForestClassifier(300, random_state=0))


def _boosting(split: Split, groups: tuple[str, ...], _: float) -> np.ndarray:
    model = HistGradientBoostingClassifier(
        max_iter=40, learning_rate=0.15, max_leaf_nodes=8, max_features=0.1, max_bins=32, random_state=0
    )
    return _fitted(split, split.rows(groups), model, copies=False)


def _network(split: Split, groups: tuple[str, ...], alpha: float) -> np.ndarray:
    x = _directions(split, groups)
    fits = [
        _fitted(split, x, MLPClassifier((96,), alpha=alpha, max_iter=40, random_state=seed))
        for seed in range(3)
    ]
    return np.mean(fits, axis=0)


_MODELS: dict[str, Callable[[Split, tuple[str, ...], float], np.ndarray]] = {
    "svm": _svm, "logistic": _logistic, "extra_trees": _extra_trees, "forest": _forest, "boosting": _boosting, "network": _network,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Candidate:
    """A model, the set of groups that it is given (a key of GROUPS) and its one setting (C, or alpha)."""

    model: str
    groups: str
    setting: float = 0.0

    def __str__(self) -> str:
        return f"{self.model}({self.groups}{f', {self.setting:g}' if self.setting else ''})"


def answers(data: Described, train: np.ndarray, candidates: tuple[Candidate, ...], seed: int) -> np.ndarray:
    """Train every candidate on some clips and return what it says of the others.

    Parameters
    ----------
    data : Described
    train : np.ndarray [shape=(clips,)] of bool
    candidates : tuple of Candidate
    seed : int
        Of the codebook.

    Returns
    -------
    np.ndarray [shape=(candidates, clips, classes)]
        Log scores; NaN for the training clips.
    """
    split = prepare(data, train, np.random.default_rng(seed))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # a few rounds are enough
        return np.stack([_MODELS[c.model](split, GROUPS[c.groups], c.setting) for c in candidates])
