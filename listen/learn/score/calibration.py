"""Whether the ear is as sure as it may be: Brier skill over prevalence, and the calibration slope.

An event's probability says how sure the ear is that its sound is there. It is
right when at least half of the event lies under a label of that sound (a
stroke: within the onset tolerance), however well its edges are placed. Events
that only lie where the sound is free to be heard are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from listen.learn.score.events import group_places
from listen.learn.score.intervals import between, resample_weights, share_of
from listen.learn.score.match import wanted_and_free
from listen.learn.score.rules import Rules
from listen.learn.score.truth import Pair
from listen.types import SoundEvent

#: Probabilities are kept this far from 0 and 1 before the logarithm of the odds is taken.
_EDGE = 1e-3
#: A slope is given from this many right and wrong answers each.
_LEAST = 10
_BINS = 8


@dataclass(frozen=True, slots=True)
class Answers:
    """`probability`, `right`, `group` [shape=(n,)] of the events of some sounds."""

    probability: np.ndarray
    right: np.ndarray
    group: np.ndarray


def brier_skill(probability: np.ndarray, right: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Return 1 − Brier score / Brier score of always answering the share that is right.

    Parameters
    ----------
    probability : np.ndarray [shape=(n,)]
    right : np.ndarray [shape=(n,)], bool
    weights : np.ndarray [shape=(n,)], optional

    Returns
    -------
    float
        Not a number where all or none are right.
    """
    w = np.ones(len(probability)) if weights is None else weights
    total = w.sum()
    if total == 0:
        return float("nan")
    prevalence = (w * right).sum() / total
    reference = prevalence * (1 - prevalence)
    if reference < 1e-12:
        return float("nan")
    return float(1 - (w * (probability - right) ** 2).sum() / total / reference)


def calibration_slope(
    probability: np.ndarray, right: np.ndarray, weights: np.ndarray | None = None
) -> tuple[float, float]:
    """Fit right ~ intercept + slope · log odds by Newton's steps; slope 1 and intercept 0 is perfect.

    Parameters
    ----------
    probability : np.ndarray [shape=(n,)]
    right : np.ndarray [shape=(n,)], bool
    weights : np.ndarray [shape=(n,)], optional

    Returns
    -------
    intercept, slope : float
        Not numbers where the answers do not determine them.
    """
    nothing = (float("nan"), float("nan"))
    p = np.clip(probability, _EDGE, 1 - _EDGE)
    x = np.stack([np.ones(len(p)), np.log(p / (1 - p))], axis=1)
    w = np.ones(len(p)) if weights is None else weights
    beta = np.zeros(2)
    for _ in range(50):
        fitted = 1 / (1 + np.exp(-np.clip(x @ beta, -30, 30)))
        curvature = w * fitted * (1 - fitted)
        hessian = x.T @ (x * curvature[:, None])
        if np.linalg.cond(hessian) > 1e10:
            return nothing
        step = np.linalg.solve(hessian, x.T @ (w * (right - fitted)))
        # A separable sample sends the slope off: it has none.
        beta = beta + np.clip(step, -2.0, 2.0)
        if np.abs(beta).max() > 50:
            return nothing
        if np.abs(step).max() < 1e-9:
            return float(beta[0]), float(beta[1])
    return nothing


def is_right(event: SoundEvent, pair: Pair, rules: Rules) -> bool | None:
    """Say whether an event's sound was there; None where it was free to be heard or not."""
    clip, _ = pair
    wanted, free = wanted_and_free(event.sound, clip, rules)
    spans = [(w.onset_s, w.offset_s) for w in wanted]
    if rules.kind[event.sound] == "onset" and not clip.weak:
        near = rules.onset_s["onset"]
        if any(abs(event.onset_s - low) <= near for low, _ in spans):
            return True
        return None if any(lo - near <= event.onset_s <= hi + near for lo, hi in free) else False
    if _under(event, spans) >= 0.5:
        return True
    return None if _under(event, spans + free) >= 0.5 else False


def _under(event: SoundEvent, spans: list[tuple[float, float]]) -> float:
    """Share of an event's span that lies under any of the spans."""
    length = max(event.duration_s, 1e-6)
    covered, at = 0.0, event.onset_s
    for low, high in sorted(spans):
        low, high = max(low, at), min(high, event.onset_s + length)
        if high > low:
            covered, at = covered + high - low, high
    return covered / length


def gather(pairs: Sequence[Pair], sounds: Sequence[str], rules: Rules) -> Answers:
    """Collect the events of some sounds with whether they were right."""
    groups, _ = group_places(pairs)
    rows = [
        (event.probability, right, group)
        for pair, group in zip(pairs, groups, strict=True)
        for event in pair[1].events
        if event.sound in sounds and (right := is_right(event, pair, rules)) is not None
    ]
    return Answers(
        np.array([r[0] for r in rows], float), np.array([r[1] for r in rows], bool), np.array([r[2] for r in rows], int)
    )  # fmt: skip


def reliability(answers: Answers) -> list[dict[str, Any]]:
    """Return, in bins of equal width, how sure the ear was and the share in which it was right."""
    place = np.minimum((answers.probability * _BINS).astype(int), _BINS - 1)
    return [
        {
            "mean_probability": round(float(answers.probability[place == b].mean()), 4),
            **share_of(
                [
                    (str(g), bool(r))
                    for g, r in zip(answers.group[place == b], answers.right[place == b], strict=True)
                ]
            ),
        }
        for b in range(_BINS)
        if (place == b).any()
    ]


def score_calibration(pairs: Sequence[Pair], rules: Rules) -> dict[str, Any]:
    """Score each family of sounds; intervals by a bootstrap over recordings."""
    _, n_groups = group_places(pairs)
    weights = resample_weights(n_groups, rules.resamples, rules.seed + 1)
    out: dict[str, Any] = {}
    for family, sounds in rules.families.items():
        a = gather(pairs, sounds, rules)
        row: dict[str, Any] = {
            "events": len(a.right),
            "recordings": len(set(a.group.tolist())),
            "prevalence": round(float(a.right.mean()), 4) if len(a.right) else None,
            "reliability": reliability(a),
        }
        enough = min(int(a.right.sum()), int((~a.right).sum())) >= _LEAST
        if enough:
            drawn = weights[:, a.group]
            skill = np.array([brier_skill(a.probability, a.right, w) for w in drawn])
            slope = np.array([calibration_slope(a.probability, a.right, w)[1] for w in drawn])
            row["brier_skill"] = between(brier_skill(a.probability, a.right), skill)
            row["slope"] = between(calibration_slope(a.probability, a.right)[1], slope)
        else:
            row["not_given"] = f"fewer than {_LEAST} right or {_LEAST} wrong answers"
        out[family] = row
    return out
