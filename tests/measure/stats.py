"""Intervals that stand beside every printed share."""

from __future__ import annotations

import math

Z_95 = 1.959964


def wilson(hits: int, n: int) -> tuple[float, float]:
    """Wilson 95 % interval of a share.

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


def share(hits: int, n: int) -> str:
    """Format a share with its counts and 95 % interval."""
    low, high = wilson(hits, n)
    return f"{hits}/{n} = {100 * hits / max(n, 1):.1f} % [{100 * low:.1f}, {100 * high:.1f}]"
