"""How much may come in: sizes, counts and rates."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

MEGABYTE = 1_000_000


@dataclass(frozen=True, slots=True)
class Limits:
    """What one message may hold and how often one address may ask.

    Attributes
    ----------
    total_bytes, file_bytes : int
        Of a whole message, and of one file.
    n_clips, n_pictures : int
    text_chars : int
        Of each answer.
    asks_per_min : int
        Pages asked for by one address.
    wrong_per_hour : int
        Links that do not exist, asked for by one address.
    arriving : int
        Messages that may be on their way in at once; they lie on the disk meanwhile.
    arrival_s : float
        Longest time that one may take to arrive.
    """

    total_bytes: int = 220 * MEGABYTE
    file_bytes: int = 150 * MEGABYTE
    n_clips: int = 6
    n_pictures: int = 8
    text_chars: int = 2000
    asks_per_min: int = 40
    wrong_per_hour: int = 20
    arriving: int = 100
    arrival_s: float = 900.0


class Rate:
    """Count events by address in a sliding window; the oldest addresses are forgotten first.

    >>> rate = Rate(2, 60.0, clock=lambda: 0.0)
    >>> [rate.allows("a") for _ in range(3)]
    [True, True, False]
    """

    _MOST_ADDRESSES = 4096

    def __init__(self, at_most: int, window_s: float, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._at_most, self._window_s, self._clock = at_most, window_s, clock
        self._seen: dict[str, deque[float]] = {}
        self._lock = threading.Lock()

    def allows(self, address: str, *, count: bool = True) -> bool:
        """Tell whether an address may go on, and count this time unless `count` is False."""
        now = self._clock()
        with self._lock:
            times = self._seen.pop(address, deque())
            while times and now - times[0] >= self._window_s:
                times.popleft()
            fine = len(times) < self._at_most
            if count and fine:
                times.append(now)
            if times:
                self._seen[address] = times
            while len(self._seen) > self._MOST_ADDRESSES:
                self._seen.pop(next(iter(self._seen)))
        return fine
