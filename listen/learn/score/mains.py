"""Whether the mains was measured where a sound is locked to it, and how rightly."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from listen.learn.score.intervals import share_of
from listen.learn.score.rules import Rules
from listen.learn.score.truth import FIND, Pair

#: A supply stays within 1 % of its nominal frequency (EN 50160, interconnected systems): more is another mains.
WITHIN_HZ = 0.5
LOCKED = ("mains_hum", "mains_buzz", "stroke_train")


def score_mains(pairs: Sequence[Pair], rules: Rules) -> dict[str, Any] | None:
    """Score the measured mains of the clips in which it is known and must be heard.

    Returns
    -------
    dict or None
        `measured` (share of those clips in which it was measured), `right` (among these, within
        WITHIN_HZ), `middle_error_hz`; None where no clip of the set has a known mains to measure.
    """
    asked = [
        (clip, heard)
        for clip, heard in pairs
        if clip.mains_hz is not None
        and any(x.sound in LOCKED and x.status(rules) == FIND for x in clip.labels)
    ]
    if not asked:
        return None
    errors = [
        (clip.group, abs(heard.measured_hz - clip.mains_hz))
        for clip, heard in asked
        if heard.measured_hz is not None and clip.mains_hz is not None
    ]
    return {
        "measured": share_of([(clip.group, heard.measured_hz is not None) for clip, heard in asked]),
        "right": share_of([(group, error <= WITHIN_HZ) for group, error in errors]),
        "middle_error_hz": round(float(np.median([e for _, e in errors])), 3) if errors else None,
    }
