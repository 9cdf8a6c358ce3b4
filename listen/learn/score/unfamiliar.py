"""Whether the ear knows what it does not know: measured once it gives a score for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from listen.learn.score.intervals import between, resample_weights

NOT_MEASURED = "not measured: the ear gives none yet"


def area(known: np.ndarray, unknown: np.ndarray) -> float:
    """Return how often an unknown recording scores above a known one; equal scores count half.

    Examples
    --------
    >>> area(np.array([0.1, 0.2]), np.array([0.2, 0.9]))
    0.875
    """
    if len(known) == 0 or len(unknown) == 0:
        return float("nan")
    below = (known[None, :] < unknown[:, None]).mean()
    equal = (known[None, :] == unknown[:, None]).mean()
    return float(below + 0.5 * equal)


def score_unfamiliar(
    known: Sequence[float] | None, unknown: Sequence[float] | None, *, resamples: int, seed: int
) -> dict[str, Any] | str:
    """Score real known against real unknown recordings, one score a recording.

    Parameters
    ----------
    known, unknown : sequence of float or None
        Unfamiliarity scores; None when the ear gives none.
    resamples, seed : int

    Returns
    -------
    dict or str
        `area` under the curve with its interval, and counts; or that it was not measured.
    """
    if known is None or unknown is None:
        return NOT_MEASURED
    a, b = np.asarray(known, float), np.asarray(unknown, float)
    first = resample_weights(len(a), resamples, seed).astype(int)
    second = resample_weights(len(b), resamples, seed + 1).astype(int)
    draws = np.array([area(np.repeat(a, x), np.repeat(b, y)) for x, y in zip(first, second, strict=True)])
    return {"area": between(area(a, b), draws), "known": len(a), "unknown": len(b)}
