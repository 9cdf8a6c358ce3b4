"""Bring a fitted model nearer to a shop's machines, without starting again.

Conventions
-----------
The shipped model has learnt from thousands of scenes and from real recordings that a shop
does not have, and its probabilities are calibrated word by word. What its hidden layers hold
stays; only the last layer, which makes words of them, is fitted again. It has to say of the
shop's clips what the shop's labels say, and of synthesised scenes what the shipped model says
of them, not what their labels say: so what was known stays, its calibration with it (Li and
Hoiem, Learning without Forgetting, 2016). A penalty holds it near to the shipped weights.

Of the way so found a word goes the further the more of the shop's clips hold it: from one clip
a sound cannot be told from the day on which it was recorded, and of what no clip holds nothing
is learnt at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from listen.ear.bundle import Head
from listen.learn.labelled import PartRows, Rows

#: Weight of the shop's rows among all; penalty on the change of the weights (of hidden values of unit size); and the
#: number of clips that go half of the way. Chosen on ten machines of the second generator, none of them scored: with
#: more weight a shop gains as much and forgets more of the scenes.
SHARE, RIDGE, HALFWAY_CLIPS = 0.05, 0.3, 1
#: Shares of the way that are tried one after the other, until a candidate is measured no worse than the model in use.
PART_WAYS = (1.0, 0.5, 0.25)
#: Steps of the fit: it is convex, and stopped where the rest changes little.
_STEPS = 60


def pull_of(n_clips: np.ndarray) -> np.ndarray:
    """How much of the way words go that so many clips hold, 0 to 1.

    Examples
    --------
    >>> pull_of(np.array([0, 1, 3])).tolist()
    [0.0, 0.5, 0.75]
    """
    return np.asarray(n_clips / (n_clips + HALFWAY_CLIPS))


def adapted(
    heads: Mapping[str, Head], shop: Sequence[PartRows], scenes: Mapping[str, Rows],
    share: float = SHARE, ridge: float = RIDGE,
) -> dict[str, Head]:  # fmt: skip
    """Adapt every part of a model for which there are rows; the others stay as they are.

    Parameters
    ----------
    heads : mapping of str to Head
        Of the model to begin from.
    shop : sequence of (mapping of str to Rows)
        A shop's clips, each with its rows by part; targets in the order of the model's labels.
    scenes : mapping of str to Rows
        By part; their targets are not read.
    share, ridge : float
        See the constants.

    Raises
    ------
    ValueError
        The targets are not as many as a part's labels.
    """
    out = dict(heads)
    for name, head in heads.items():
        clips = [clip[name] for clip in shop if name in clip and len(clip[name].x)]
        if any(clip.y.shape[1] != len(head.labels) for clip in clips):
            raise ValueError("The model's labels are not those of the rows.")
        if clips:
            out[name] = _adapted(folded(head), clips, scenes[name].x, share, ridge)
    return out


def part_way(begin: Mapping[str, Head], fitted: Mapping[str, Head], share: float) -> dict[str, Head]:
    """Return a model that lies so far (0 to 1) on the way from one to what was adapted from it."""
    out = dict(begin)
    for name, head in fitted.items():
        if head is begin[name]:
            continue
        before = folded(begin[name])
        weight, bias = (
            a + share * (b - a)
            for a, b in ((before.weights[-1], head.weights[-1]), (before.biases[-1], head.biases[-1]))
        )
        out[name] = replace(head, weights=(*head.weights[:-1], weight), biases=(*head.biases[:-1], bias))
    return out


def _adapted(head: Head, clips: Sequence[Rows], scenes: np.ndarray, share: float, ridge: float) -> Head:
    own = np.concatenate([clip.x for clip in clips])
    values = head.hidden(np.concatenate([own, scenes]))
    size = np.maximum(np.sqrt(np.mean(values[len(own) :] ** 2, axis=0)), 1e-2 * np.sqrt(np.mean(values**2)))
    logits = values @ head.weights[-1] + head.biases[-1]
    targets = np.concatenate([*(clip.y for clip in clips), expit(logits[len(own) :])])
    among = (1 - share) / share * len(own) / max(len(scenes), 1)
    weight = np.concatenate([np.ones(len(own)), np.full(len(scenes), among)])
    change = _fit(np.column_stack([values / size, np.ones(len(values))]), logits, targets, weight, ridge)
    held_by = np.sum([clip.y.any(axis=0) for clip in clips], axis=0)
    change *= pull_of(held_by)
    return replace(
        head,
        weights=(*head.weights[:-1], head.weights[-1] + change[:-1] / size[:, None]),
        biases=(*head.biases[:-1], head.biases[-1] + change[-1]),
    )


def _fit(
    values: np.ndarray, logits: np.ndarray, targets: np.ndarray, weight: np.ndarray, ridge: float
) -> np.ndarray:
    """Fit what is added to the logits, all words at once: cross-entropy, and a penalty on the weights.

    Parameters
    ----------
    values : np.ndarray [shape=(k, f)]
    logits, targets : np.ndarray [shape=(k, labels)]
    weight : np.ndarray [shape=(k,)]
    ridge : float

    Returns
    -------
    np.ndarray [shape=(f, labels)]
    """
    shape = (values.shape[1], logits.shape[1])

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        change = flat.reshape(shape)
        now = logits + values @ change
        cross = np.logaddexp(0.0, now) - targets * now
        slope = values.T @ (weight[:, None] * (expit(now) - targets)) + ridge * change
        return float(weight @ cross.sum(axis=1) + 0.5 * ridge * np.sum(change**2)), slope.ravel()

    start = np.zeros(shape[0] * shape[1])
    return np.asarray(
        minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": _STEPS}).x.reshape(shape)
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
