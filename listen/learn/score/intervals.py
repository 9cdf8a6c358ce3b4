"""95 % intervals that count recordings: Wilson's for shares, a bootstrap by recording for what is no share.

Labels, seconds and clips of one recording are alike, so that a share over them is
less sure than their number says. Its interval is Wilson's with the effective
number of answers: their number divided by the design effect, which is estimated
from how much recordings differ (Kish, Survey Sampling (1965); Dean and Pagano,
J. Survey Statistics and Methodology 3 (2015) 484; both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

Z_95 = 1.959963984540054


#: With fewer recordings their differences say nothing: each then counts as one answer.
_LEAST_TO_COMPARE = 5


def wilson(hits: float, n: float) -> tuple[float, float]:
    """Return Wilson's 95 % interval of `hits` among `n`; (0, 1) when n is 0.

    Examples
    --------
    >>> tuple(round(x, 4) for x in wilson(81, 263))
    (0.2553, 0.3662)
    """
    if n == 0:
        return 0.0, 1.0
    p, z2 = hits / n, Z_95**2
    centre = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z_95 / (1 + z2 / n) * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n))
    return max(0.0, centre - half), min(1.0, centre + half)


def effective_n(hits: np.ndarray, n: np.ndarray) -> float:
    """Return how many independent answers a share over recordings is worth.

    Parameters
    ----------
    hits, n : np.ndarray [shape=(recordings,)]
        Right answers and all answers of each recording; recordings without answers are left out.

    Returns
    -------
    float
        At most the number of answers; the number of recordings where they cannot be compared
        (few of them, or all answers alike).

    Examples
    --------
    >>> effective_n(np.array([1, 0, 1, 1, 0, 1]), np.ones(6))
    6.0
    """
    kept = n > 0
    hits, n = hits[kept].astype(float), n[kept].astype(float)
    k, total = len(n), float(n.sum())
    if k == total:
        return total
    p = hits.sum() / max(total, 1e-12)
    if k < _LEAST_TO_COMPARE or p in (0.0, 1.0):
        return float(k)
    variance = k / (k - 1) * float(((hits - p * n) ** 2).sum()) / total**2
    return float(min(total, max(1.0, p * (1 - p) / max(variance, 1e-12))))


def share(hits: Sequence[float] | np.ndarray, n: Sequence[float] | np.ndarray) -> dict[str, Any]:
    """Return a share over recordings with its counts and interval.

    Parameters
    ----------
    hits, n : sequence of float [shape=(recordings,)]
        Right answers and all answers of each recording.

    Returns
    -------
    dict
        `value` (None without answers), `low`, `high`, `hits`, `n` (answers), `recordings`.
    """
    right, asked = np.asarray(hits, float), np.asarray(n, float)
    total, worth = int(asked.sum()), effective_n(right, asked)
    value = float(right.sum() / total) if total else None
    low, high = wilson((value or 0.0) * worth, worth)
    return {
        "value": None if value is None else round(value, 4), "low": round(low, 4), "high": round(high, 4),
        "hits": int(right.sum()), "n": total, "recordings": int((asked > 0).sum()),
    }  # fmt: skip


def share_of(answers: Sequence[tuple[str, bool]]) -> dict[str, Any]:
    """Return the share of answers that are right, each given with the name of its recording."""
    place = {name: at for at, name in enumerate(dict.fromkeys(name for name, _ in answers))}
    groups = np.array([place[name] for name, _ in answers], int)
    right = np.array([float(r) for _, r in answers])
    return share(np.bincount(groups, right, len(place)), np.bincount(groups, minlength=len(place)))


def resample_weights(n_groups: int, resamples: int, seed: int) -> np.ndarray:
    """Return how often each recording is drawn in each resample [shape=(resamples, n_groups)]."""
    rng = np.random.default_rng(seed)
    if n_groups == 0:
        return np.zeros((resamples, 0))
    return rng.multinomial(n_groups, np.full(n_groups, 1 / n_groups), size=resamples).astype(np.float64)


def between(value: float | None, draws: np.ndarray) -> dict[str, Any]:
    """Return a value with the middle 95 % of its resampled values; those that are not numbers are left out."""
    draws = draws[np.isfinite(draws)]
    if value is None or not np.isfinite(value) or len(draws) == 0:
        return {"value": None, "low": None, "high": None}
    low, high = np.percentile(draws, [2.5, 97.5])
    return {"value": round(float(value), 4), "low": round(float(low), 4), "high": round(float(high), 4)}


def spread(value: float, draws: np.ndarray, n_recordings: int, least: int) -> dict[str, Any]:
    """Return a score with its interval: none with too few recordings, Wilson's where all resamples agree.

    A bootstrap of recordings that all failed (or all succeeded) would claim certainty; there the
    interval is that of a share over the recordings.
    """
    if n_recordings == 0:
        return {"value": None, "low": None, "high": None}
    if n_recordings < least:
        return {"value": round(float(value), 4), "low": None, "high": None}
    row = between(value, draws)
    if row["value"] is not None and row["low"] == row["high"] and row["value"] in (0.0, 1.0):
        low, high = wilson(round(value * n_recordings), n_recordings)
        row |= {"low": round(low, 4), "high": round(high, 4)}
    return row
