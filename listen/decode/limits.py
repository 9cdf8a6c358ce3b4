"""What one clip may cost, and the shortest clip that can be heard."""

from __future__ import annotations

from dataclasses import asdict, dataclass

#: A clip shorter than this is unusable (fixed by the command line's contract).
MIN_DURATION_S = 0.5

_MB = 1 << 20


@dataclass(frozen=True, slots=True)
class DecodeLimits:
    """Limits of one clip; every one of them ends in one plain sentence, never in a crash.

    Parameters
    ----------
    max_bytes : int
        Largest file that is opened.
    max_duration_s : float
        Longest recording that is decoded.
    memory_bytes : int
        Address space of the child. The decoder alone needs about 120 MB of
        it (32 MB resident); the rest is for the clip's own tables.
    cpu_s : int
        Processor time of the child for this clip.
    stall_s : float
        Longest wait for the next sign of life of the child.
    wait_s : float
        All waiting of the parent together. Time that the caller spends
        between two blocks does not count.
    """

    max_bytes: int = 8 << 30
    max_duration_s: float = 36_000.0
    memory_bytes: int = 384 * _MB
    cpu_s: int = 600
    stall_s: float = 30.0
    wait_s: float = 900.0

    def as_dict(self) -> dict[str, float]:
        """Return the limits as plain numbers, for the child."""
        return asdict(self)
