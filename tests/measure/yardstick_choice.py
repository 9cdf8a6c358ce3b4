"""Choose models, and how many to mix, from the training folds alone.

Conventions
-----------
`answers` [shape=(candidates, clips, classes)] holds what models trained on some
folds say of the others, NaN where they were trained. For an outer fold o the
inner answers of fold v come from models trained on the folds that are neither o
nor v; so one training without {o, v} serves both as inner fold of the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.special import log_softmax

#: How many of the best candidates may speak together.
MIXES: tuple[int, ...] = (1, 3, 8, 1_000)
_SHARPNESS = np.geomspace(0.3, 8.0, 20)
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Choice:
    """Candidates that speak together (their places), how sharp each is made, and the inner loss of that."""

    places: tuple[int, ...]
    sharpness: tuple[float, ...]
    inner_loss: float


def left_out_sets(folds: Sequence[int]) -> list[frozenset[int]]:
    """Return the sets of folds to train without: each one (outer) and each pair (inner).

    Examples
    --------
    >>> len(left_out_sets([1, 2, 3, 4, 5]))
    15
    """
    names = sorted(set(folds))
    return [frozenset(s) for k in (1, 2) for s in combinations(names, k)]


def inner_answers(by_set: Mapping[frozenset[int], np.ndarray], folds: np.ndarray, outer: int) -> np.ndarray:
    """Answers of each other fold by models that saw neither it nor the outer fold; NaN in the outer fold."""
    inner = [int(fold) for fold in np.unique(folds) if fold != outer]
    out = np.full_like(by_set[frozenset({outer})], np.nan)
    for fold in inner:
        here = folds == fold
        out[:, here] = by_set[frozenset({outer, fold})][:, here]
    return out


def loss(log_probability: np.ndarray, labels: np.ndarray) -> float:
    """Mean negative log probability of the truth; an answer counts as at least _LEAST."""
    right = log_probability[np.arange(len(labels)), labels]
    return float(-np.maximum(right, np.log(_LEAST)).mean())


def mixed(answers: np.ndarray, choice: Choice) -> np.ndarray:
    """Log of the mean probability of the chosen candidates [shape=(clips, classes)]."""
    parts = [
        np.exp(log_softmax(answers[place] * sharp, axis=1))
        for place, sharp in zip(choice.places, choice.sharpness, strict=True)
    ]
    return np.log(np.maximum(np.mean(parts, axis=0), 1e-12))


def _best(answers: np.ndarray, labels: np.ndarray, allowed: Sequence[int], size: int) -> Choice:
    """The `size` candidates of least loss, each at its best sharpness."""
    ranked = []
    for place in allowed:
        tried = [(loss(log_softmax(answers[place] * s, axis=1), labels), float(s)) for s in _SHARPNESS]
        ranked.append((*min(tried), place))
    ranked = sorted(ranked)[:size]
    choice = Choice(tuple(r[2] for r in ranked), tuple(r[1] for r in ranked), 0.0)
    return Choice(choice.places, choice.sharpness, loss(mixed(answers, choice), labels))


def choose(
    inner: np.ndarray,
    labels: np.ndarray,
    folds: np.ndarray,
    outer: int,
    *,
    allowed: Sequence[int] | None = None,
    mixes: Sequence[int] = MIXES,
) -> Choice:
    """Choose for one outer fold, from the other folds' answers and labels only.

    Parameters
    ----------
    inner : np.ndarray [shape=(candidates, clips, classes)]
        Of :func:`inner_answers`; what it holds for the outer fold is not read.
    labels, folds : np.ndarray [shape=(clips,)]
    outer : int
    allowed : sequence of int, optional
        Places of the candidates to choose from; all if not given.
    mixes : sequence of int
        Sizes tried. Each is scored on every inner fold with ranking and
        sharpness found on the other inner folds.

    Returns
    -------
    Choice
    """
    known = folds != outer
    inner, labels, folds = inner[:, known], labels[known], folds[known]
    allowed = range(len(inner)) if allowed is None else allowed
    sizes = sorted({min(size, len(allowed)) for size in mixes})
    losses = []
    for size in sizes if len(sizes) > 1 else []:
        parts = []
        for fold in np.unique(folds):
            here = folds == fold
            found = _best(inner[:, ~here], labels[~here], allowed, size)
            parts.append(loss(mixed(inner[:, here], found), labels[here]))
        losses.append(float(np.mean(parts)))
    size = sizes[int(np.argmin(losses))] if losses else sizes[0]
    return _best(inner, labels, allowed, size)


def nested(
    by_set: Mapping[frozenset[int], np.ndarray],
    labels: np.ndarray,
    folds: np.ndarray,
    *,
    allowed: Sequence[int] | None = None,
    mixes: Sequence[int] = MIXES,
) -> tuple[np.ndarray, dict[int, Choice]]:
    """Answer every clip by what was chosen without its fold.

    Returns
    -------
    said : np.ndarray [shape=(clips,)]
        Class said of each clip.
    choices : dict of int to Choice
        By outer fold.
    """
    said = np.full(len(labels), -1)
    choices = {}
    for fold in np.unique(folds):
        outer = int(fold)
        choices[outer] = choose(
            inner_answers(by_set, folds, outer), labels, folds, outer, allowed=allowed, mixes=mixes
        )
        here = folds == fold
        said[here] = mixed(by_set[frozenset({outer})][:, here], choices[outer]).argmax(axis=1)
    return said, choices
