"""What all sounds of a scene share: the mains that drives them and the grains they are cut from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_audio.second.corpus import Corpus
from synthetic_audio.second.spec import RATE_HZ


@dataclass(frozen=True, slots=True)
class Mains:
    """A supply whose frequency wanders a little; everything that is locked to it shares its phase.

    Parameters
    ----------
    hertz : float
        Mean frequency.
    swing_hz : float
        Slow wander to either side.
    period_s : float
        Time of one wander.
    """

    hertz: float
    swing_hz: float = 0.004
    period_s: float = 11.0

    def cycles(self, t: np.ndarray) -> np.ndarray:
        """Return mains cycles gone by at times `t` in s."""
        wander = self.swing_hz * self.period_s / (2 * np.pi)
        return self.hertz * t - wander * (np.cos(2 * np.pi * t / self.period_s) - 1)

    def crossings(self, start_s: float, length_s: float, phase: float, per_cycle: int = 1) -> np.ndarray:
        """Return the times, from `start_s`, at which the phase passes `phase` (cycles), `per_cycle` times each."""
        grid = start_s + np.arange(0, length_s + 0.02, 0.01)
        cycles = (self.cycles(grid) - phase) * per_cycle
        turns = np.arange(np.ceil(cycles[0]), cycles[-1])
        times = np.interp(turns, cycles, grid) - start_s
        return times[times < length_s]


@dataclass(frozen=True, slots=True)
class Stage:
    """Mains, corpus, and when (s) the sound now being made begins."""

    mains: Mains
    corpus: Corpus
    start_s: float = 0.0

    def times(self, n: int) -> np.ndarray:
        """Return the clip's times of `n` samples from the start of this sound, s."""
        return self.start_s + np.arange(n) / RATE_HZ
