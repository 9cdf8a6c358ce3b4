"""Bring a fitted model nearer to a shop's machines, without starting again.

Conventions
-----------
The shipped model has learnt from thousands of scenes and from real recordings that a shop
does not have. Starting again from a shop's clips and scenes alone loses the latter, and the
few rows of a shop drown in the many of the scenes. So training goes on from the shipped
weights, in small steps, on the shop's rows and as many of scenes, which keep what was known. The few
clips of a shop fit themselves sooner than they teach: of the way from the shipped weights to the fitted
ones only a part is gone, the further the more clips there are (the mean of the weights before and after
fine-tuning; Wortsman and others, Robust fine-tuning of zero-shot models, 2022).
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from listen.ear.bundle import Head
from listen.learn.labelled import Rows
from listen.learn.recipe import HeadRecipe, Recipe

#: Share of all rows that a shop's own are repeated up to, passes over all rows, and the size of steps.
SHARE, PASSES, STEP = 0.4, 3, 3e-4
#: So many clips go half of the way (seven machines of the second generator, none of them scored: all of the way made errors
#: worse with 5, 10 and 20 clips; three tenths of it made them better with 20).
HALFWAY_CLIPS = 40


def pull_of(n_clips: int) -> float:
    """How much of the way to the fitted weights that many clips go, 0 to 1.

    Examples
    --------
    >>> round(pull_of(20), 2), pull_of(40)
    (0.33, 0.5)
    """
    return n_clips / (n_clips + HALFWAY_CLIPS)


def adapted(
    heads: Mapping[str, Head], shop: Mapping[str, Rows], scenes: Mapping[str, Rows], recipe: Recipe,
    share: float = SHARE, passes: int = PASSES, step: float = STEP, pull: float = 1.0,
) -> dict[str, Head]:  # fmt: skip
    """Adapt every part of a model for which there are rows; the others stay as they are.

    Parameters
    ----------
    heads : mapping of str to Head
        Of the model to begin from.
    shop, scenes : mapping of str to Rows
        By part; targets in the order of the recipe's labels.
    recipe : Recipe
    share, passes, step : float, int, float
        See the constants.
    pull : float
        How much of the way to the fitted weights is gone, 0 to 1 (:func:`pull_of`).

    Raises
    ------
    ValueError
        A part's labels are not those of the recipe.
    """
    out = dict(heads)
    for name, head in heads.items():
        if name in shop and len(shop[name].x):
            part: HeadRecipe = getattr(recipe, name)
            out[name] = _adapted(head, shop[name], scenes[name], part, recipe.seed, share, passes, step, pull)
    return out


def _adapted(
    head: Head,
    shop: Rows,
    scenes: Rows,
    recipe: HeadRecipe,
    seed: int,
    share: float,
    passes: int,
    step: float,
    pull: float,
) -> Head:
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.neural_network import MLPClassifier

    if head.labels != recipe.labels:
        raise ValueError("The model's labels are not those of the recipe.")
    head = folded(head)
    rng = np.random.default_rng(seed)
    # Rows of a shop are drawn again until they make up their share.
    n = max(len(shop.x), round(share / (1 - share) * len(scenes.x)))
    again = np.concatenate([rng.permutation(len(shop.x)) for _ in range(-(-n // len(shop.x)))])[:n]
    x = (np.concatenate([shop.x[again], scenes.x]).astype(np.float64) - head.mean) / head.scale
    y = np.concatenate([shop.y[again], scenes.y])
    network = MLPClassifier(
        hidden_layer_sizes=tuple(len(b) for b in head.biases[:-1]), alpha=recipe.alpha, max_iter=passes,
        batch_size=min(256, len(x)), learning_rate_init=step, warm_start=True, random_state=seed,
    )  # fmt: skip
    with warnings.catch_warnings():
        # The number of passes is given.
        warnings.simplefilter("ignore", ConvergenceWarning)
        # One step lays out the network; then it is given the weights to go on from.
        network.partial_fit(x[:256], y[:256], classes=np.arange(y.shape[1]))
        network.coefs_ = [w.copy() for w in head.weights]
        network.intercepts_ = [b.copy() for b in head.biases]
        network.fit(x, y)
    return replace(
        head,
        weights=tuple(
            w + pull * (fitted - w) for w, fitted in zip(head.weights, network.coefs_, strict=True)
        ),
        biases=tuple(
            b + pull * (fitted - b) for b, fitted in zip(head.biases, network.intercepts_, strict=True)
        ),
    )


def folded(head: Head) -> Head:
    """Return a head with the same probabilities whose calibration lies in its last layer."""
    return replace(
        head,
        weights=(*head.weights[:-1], head.weights[-1] * head.slope),
        biases=(*head.biases[:-1], head.biases[-1] * head.slope + head.offset),
        slope=np.ones(len(head.labels)),
        offset=np.zeros(len(head.labels)),
    )
