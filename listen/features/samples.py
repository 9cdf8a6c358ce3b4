"""Facts that only the samples themselves can tell: clipping, dropped stretches, level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: At or above this share of full scale a run of two samples counts as clipped.
CLIP_AT = 0.985
#: A stretch of exact zeros this long inside sound is a hole that a recorder left.
HOLE_S = 0.003
_MAX_HOLES = 500


@dataclass(frozen=True, slots=True)
class SampleFacts:
    """`clipped_fraction` 0..1, `peak` linear, `holes` (start_s, end_s) of exact silence inside sound."""

    clipped_fraction: float
    peak: float
    holes: tuple[tuple[float, float], ...]
    silent_fraction: float


class SampleWatch:
    """Watch blocks of samples (n,) float32 as they pass."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._n = 0
        self._clipped = 0
        self._silent = 0
        self._peak = 0.0
        self._holes: list[tuple[float, float]] = []
        self._zero_start: int | None = 0
        self._last = 0.0

    def push(self, block: np.ndarray) -> None:
        if not len(block):
            return
        size = np.abs(block)
        self._peak = max(self._peak, float(size.max()))
        high = np.concatenate([[abs(self._last) >= CLIP_AT], size >= CLIP_AT])
        self._clipped += int(np.sum(high[1:] & high[:-1]))
        self._last = float(block[-1])
        zero = block == 0.0
        self._silent += int(zero.sum())
        edges = np.flatnonzero(
            np.diff(np.concatenate([[self._zero_start is not None], zero]).astype(np.int8))
        )
        for edge in edges:
            at = self._n + int(edge)
            if self._zero_start is None:
                self._zero_start = at
            else:
                # Leading silence (start of the clip) is no hole.
                if (
                    self._zero_start > 0
                    and at - self._zero_start >= HOLE_S * self._rate_hz
                    and len(self._holes) < _MAX_HOLES
                ):
                    self._holes.append((self._zero_start / self._rate_hz, at / self._rate_hz))
                self._zero_start = None
        self._n += len(block)

    def facts(self) -> SampleFacts:
        n = max(1, self._n)
        return SampleFacts(self._clipped / n, self._peak, tuple(self._holes), self._silent / n)
