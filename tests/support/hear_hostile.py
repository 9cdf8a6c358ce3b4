"""Decode hostile files one after the other and hold each answer against what is promised."""

from __future__ import annotations

import time

import numpy as np
from support.hostile import hostile_files

from listen.decode import DecodeLimits, DecodeWorker, read_clip
from listen.errors import ListenError

PER_FILE_S = 10.0
LIMITS = DecodeLimits(cpu_s=4, stall_s=6.0, wait_s=8.0, max_duration_s=120.0)


def hear_all(n: int, seed: int, worker: DecodeWorker) -> dict[str, int]:
    """Decode `n` hostile files; return how often each outcome was met.

    Raises
    ------
    AssertionError
        When a clip gets anything but a good recording or one plain sentence in time.
    """
    outcomes: dict[str, int] = {}
    for name, data in hostile_files(n, seed):
        started = time.monotonic()
        try:
            clip = read_clip(data, name=name, limits=LIMITS, worker=worker)
        except ListenError as error:
            message = str(error)
            assert message.startswith(f"{name}: "), message
            assert "Traceback" not in message
            assert "\n" not in message
            outcome = message.split(": ", 1)[1]
        else:
            assert np.isfinite(clip.samples).all(), name
            assert np.abs(clip.samples).max() <= 16.0, name
            assert clip.info.duration_s >= 0.5, name
            outcome = "heard"
        assert time.monotonic() - started < PER_FILE_S, name
        outcomes[outcome] = outcomes.get(outcome, 0) + 1
    return outcomes
