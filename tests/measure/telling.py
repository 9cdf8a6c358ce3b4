"""How people tell of a clip: without the machine, and with what they did told a little early or late."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

import numpy as np

#: What was done is told this much early or late, s (common practice: people tap after the fact).
EARLY_S, LATE_S = 0.8, 1.4
#: No mark lies nearer to an end of the clip, s.
_EDGE_S = 0.05


def add_options(parser: argparse.ArgumentParser) -> None:
    """Let a measure be taken as people tell: both ways may be chosen."""
    parser.add_argument(
        "--unknown-machine",
        action="store_true",
        help="Nothing is told of the machine, nor of the mains, as with most clips of customers.",
    )
    parser.add_argument(
        "--roughly-told",
        action="store_true",
        help="The story's moments are told early or late, as people tap.",
    )


def machine_told(profile: Any, unknown: bool) -> Any:
    """The machine as the bench is told of it: its profile, or nothing at all."""
    from listen.bench.machine import machine_from, unknown_machine

    return unknown_machine() if unknown else machine_from(profile)


def roughly(story: Sequence[tuple[float, str]], seed: int, length_s: float) -> list[tuple[float, str]]:
    """The same story, each moment told early or late; what happened together is told together.

    What was so when the clip began stays there.
    """
    rng = np.random.default_rng(seed)
    moved = {0.0: 0.0}
    for at_s, _ in story:
        if at_s not in moved:
            told_s = at_s + float(rng.uniform(-EARLY_S, LATE_S))
            moved[at_s] = min(max(_EDGE_S, told_s), length_s - _EDGE_S)
    return sorted(((moved[at_s], word) for at_s, word in story), key=lambda told: told[0])
