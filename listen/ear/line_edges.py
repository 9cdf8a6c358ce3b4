"""Where a sound of lines begins and ends: its lines are followed by their level to both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from listen.ear.levels import LevelTracks
from listen.ear.steps import followed, step_times
from listen.features.collect import DEEP_HZ
from listen.features.lines import LineTable
from listen.spectra import CELL_S, LINE_N, LINE_RATE_HZ, LINE_S

#: How long a window is in which lines are told apart, s.
WINDOW_S = LINE_N / LINE_RATE_HZ
#: An edge without a rise or fall like this is a line that got lost, not a machine that stopped.
_EDGE_DB = 3.0
#: How near to the end of the clip an edge is none, s.
_OPEN_S = 0.6
#: Where a level shows an edge, Hz: not below 200, where windows are long.
_EDGE_HZ = (190.0, 3300.0)
#: Longest run-up of a motor (common practice: within a second), and the range and the rise that show its beginning.
_RUN_UP_S, _MOTOR_HZ, _RUN_UP_DB = 1.0, (190.0, 850.0), 5.0
#: In how many windows the lines are looked for that a sound is followed by.
_FOLLOWED_WINDOWS = 32
#: How many of them, up to where, how prominent, and the share of windows that hold each.
_FOLLOWED_LINES, _FOLLOWED_HZ, _FOLLOWED_OVER_DB, _HELD = 8, 780.0, 12.0, 0.6
#: What is sure of a window, s; how far around a sound its quiet is looked for, cells; how far from there its edge may be, s.
_CORE_S, _REACH_CELLS, _LATE_S = 0.5, round(30.0 / CELL_S), 0.3


@dataclass(frozen=True, slots=True)
class LineEdges:
    """Where a locked or slipping sound begins and ends, whether beyond the clip, and whether its level shows it."""

    onset_s: float
    offset_s: float
    open_start: bool
    open_end: bool
    rises: bool
    falls: bool


def edges_of_lines(
    levels: LevelTracks, table: LineTable, fundamentals: Sequence[float], first: int, stop: int
) -> LineEdges:
    """Place the edges of a run of windows where the level of its lines, or of their range, rises and falls most.

    Parameters
    ----------
    levels : LevelTracks
    table : LineTable
        Of the same clip.
    fundamentals : sequence of float
        Rates whose multiples the sound consists of, Hz.
    first, stop : int
        Windows in which it was found.
    """
    start_s, end_s = first * LINE_S, (stop - 1) * LINE_S + WINDOW_S
    duration_s = levels.features.duration_s
    open_start, open_end = first == 0, stop >= len(table.hz)
    onset, offset, rises, falls = start_s, end_s, True, True
    tracks = levels.bands(*_EDGE_HZ)
    if len(tracks) > 4:
        begins, ends = (
            (max(0.0, start_s - _LATE_S), start_s + WINDOW_S),
            (end_s - WINDOW_S, end_s + _LATE_S),
        )
        cells = _core(levels, first, stop)
        lines = _lines(table, fundamentals, first, stop)
        if len(lines) and cells.stop - cells.start >= 2:
            of_lines = levels.features.lines_db(lines)
            reached = followed(of_lines, cells.start, cells.stop, _REACH_CELLS)
            if reached is not None:
                # What lies over the lines, or follows them, is none of theirs.
                tracks = of_lines
                from_s, to_s = reached[0] * CELL_S, reached[1] * CELL_S
                begins, open_start = (max(0.0, from_s - _LATE_S), from_s + _LATE_S), from_s < _OPEN_S / 2
                ends, open_end = (to_s - _LATE_S, to_s + _LATE_S), to_s > duration_s - _OPEN_S / 2
        at, height = step_times(tracks, *begins, rising=True)
        rises = height >= _EDGE_DB
        if not (open_start and (height < 5.0 or at < _OPEN_S / 2)):
            onset, open_start = at, False
        at, height = step_times(tracks, *ends, rising=False)
        falls = height >= _EDGE_DB
        if not (open_end and (height < 5.0 or at > duration_s - _OPEN_S / 2)):
            offset, open_end = at, False
    onset, offset = (0.0 if open_start else onset), (duration_s if open_end else offset)
    if offset <= onset:
        onset, offset = start_s, end_s
    return LineEdges(onset, offset, open_start, open_end, rises, falls)


def edges_of_motor(
    levels: LevelTracks, table: LineTable, fundamentals: Sequence[float], first: int, stop: int
) -> LineEdges:
    """As :func:`edges_of_lines`, with the run-up of a motor, in which its lines still glide."""
    edges = edges_of_lines(levels, table, fundamentals, first, stop)
    return edges if edges.open_start else replace(edges, onset_s=_run_up(levels, edges))


def _run_up(levels: LevelTracks, edges: LineEdges) -> float:
    """Return where a motor began to turn: until it has run up its lines glide, and only its range grows louder."""
    onset_s = edges.onset_s
    at, height = step_times(
        levels.bands(*_MOTOR_HZ),
        max(0.0, onset_s - _RUN_UP_S),
        min(onset_s + CELL_S, edges.offset_s),
        rising=True,
    )
    return min(at, onset_s) if height >= _RUN_UP_DB else onset_s


def _inner(first: int, stop: int) -> tuple[int, int]:
    """Windows that surely hold the sound in their middle: those at both ends may hold it in their far half only."""
    return (first + 2, stop - 2) if stop - first >= 5 else ((first + stop - 1) // 2, (first + stop) // 2 + 1)


def _core(levels: LevelTracks, first: int, stop: int) -> slice:
    inner = _inner(first, stop)
    return levels.between(
        inner[0] * LINE_S + (WINDOW_S - _CORE_S) / 2, (inner[1] - 1) * LINE_S + (WINDOW_S + _CORE_S) / 2
    )


def _lines(table: LineTable, fundamentals: Sequence[float], first: int, stop: int) -> np.ndarray:
    """Most prominent lines at multiples of any of some fundamentals, that most of the windows hold, Hz."""
    first, stop = _inner(first, stop)
    # Of a long run some windows, evenly over it, tell as much.
    step = max(1, (stop - first) // _FOLLOWED_WINDOWS)
    hz, over = table.hz[first:stop:step], table.over_db[first:stop:step]
    mine = np.isfinite(hz) & (hz < _FOLLOWED_HZ) & (over >= _FOLLOWED_OVER_DB)
    on = np.zeros(hz.shape, bool)
    for fundamental in fundamentals:
        k = np.maximum(np.rint(np.where(mine, hz, 0.0) / fundamental), 1.0)
        on |= np.abs(hz - k * fundamental) < 0.2 + 0.005 * k
    mine &= on
    chosen: list[float] = []
    for at in np.argsort(np.where(mine, -over, np.inf), axis=None):
        if not mine.flat[at] or len(chosen) == _FOLLOWED_LINES:
            break
        line = float(hz.flat[at])
        # Most are a line that is chosen already, in another window.
        if any(abs(line - other) <= 2 * DEEP_HZ for other in chosen):
            continue
        if (np.abs(hz - line) < 0.5).any(axis=1).mean() >= _HELD:
            chosen.append(line)
    return np.array(chosen)
