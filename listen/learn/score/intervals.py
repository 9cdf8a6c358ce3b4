"""95 % intervals: Wilson's for shares, a bootstrap by recording for what is no share."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

Z_95 = 1.959963984540054


def wilson(hits: int, n: int) -> tuple[float, float]:
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


def share(hits: int, n: int) -> dict[str, Any]:
    """Return a share with its counts and interval; `value` is None when n is 0."""
    low, high = wilson(hits, n)
    return {
        "value": round(hits / n, 4) if n else None, "low": round(low, 4), "high": round(high, 4), "hits": int(hits), "n": int(n),
    }  # fmt: skip


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
