"""How likely a pump's end brought a discharge, for pumps behind which nothing is named one.

Noise hides a discharge from the rules long before it hides it from the model, which has learned faint ones
under noise beside pumps that end without: where it sees none, none was there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from listen.ear.bundle import Head
from listen.ear.draft import Draft
from listen.features.starts import Starts
from listen.features.textures import SEGMENT_S, Segments

#: A discharge begins with the valve, before a motor has run down, and no later than this behind the pump, s (common practice).
_RUNS_DOWN_S, _VALVE_S, _BEHIND_S = 0.6, 0.1, 1.5


def tell_discharges(
    pumps: Sequence[Draft], segments: Segments, burst: np.ndarray, starts: Starts, head: Head
) -> None:
    """Give each pump whose end is heard the measure `discharge_p`: the model's greatest probability of a discharge there.

    Parameters
    ----------
    pumps : sequence of Draft
    segments : Segments
    burst : np.ndarray [shape=(k,)]
        Probability of a discharge in each segment.
    starts : Starts
    head : Head
        The model's part for starts.
    """
    middle_s = segments.starts_s + SEGMENT_S / 2
    begins = np.zeros(0)
    if len(starts.cells) and "burst" in head.labels:
        begins = head.probabilities(starts.values)[:, head.labels.index("burst")]
    for pump in pumps:
        if pump.open_end:
            continue
        before_s = _RUNS_DOWN_S if pump.sound == "motor_run" else _VALVE_S
        first_s, last_s = pump.offset_s - before_s, pump.offset_s + _BEHIND_S
        there = [
            p[(at_s >= first_s) & (at_s <= last_s)]
            for p, at_s in ((burst, middle_s), (begins, starts.times_s))
        ]
        if len(there[0]):
            pump.measures["discharge_p"] = float(np.concatenate(there).max())
