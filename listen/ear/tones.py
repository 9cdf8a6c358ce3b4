"""Hums, buzzes, pumps and motors from locked and slipping lines; tones from narrow peaks.

The physics (common practice): a coil pulls twice a mains cycle, so it hums at
2f and its multiples; a half-wave fed plunger strikes once a cycle, so it shows
odd multiples too; a turning motor adds a comb at its shaft rate, which slips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.steps import followed, runs, step_times
from listen.features.collect import BANDS_K, DEEP_HZ, ClipFeatures
from listen.features.lines import LineTable
from listen.features.mains import CombTracks
from listen.spectra import CELL_S, LINE_N, LINE_RATE_HZ, LINE_S
from listen.types import Mains

_WINDOW_S = LINE_N / LINE_RATE_HZ
#: Odd multiples of the mains as strong as the even ones: one stroke a cycle.
_STROKE_ODD_N, _STROKE_OVER_DB, _STROKE_EVEN_LEAD_DB = 4, 14.0, 6.0
#: A buzz keeps many even multiples, some of them from the eighth up; a hum has few.
_BUZZ_EVEN_N, _BUZZ_HIGH_N, _BUZZ_OVER_DB = 9, 4, 16.0
_HUM_OVER_DB = 14.0
#: Strongest line that a coil's or a motor's hum may have, Hz (common practice: 2f and a few multiples).
_HUM_HIGHEST_HZ = 800.0
_SHAFT_SHARE, _SHAFT_LINES = 0.4, 3
#: A rise like this within one run is a second source that joins (a pump beside a refrigerator).
_JOIN_DB = 8.0
#: An edge without a rise or fall like this is a line that got lost, not a machine that stopped.
_EDGE_DB = 3.0
_LOST_S = 4.0
#: Two spans that share this much are one sound.
_SAME_SHARE = 0.9
#: What differs by this much is no lost line but another machine, heard when the first had stopped.
_OTHER_DB = 12.0
_OPEN_S = 0.6
#: Where a level shows an edge, Hz: not below 200, where windows are long.
_EDGE_HZ = (190.0, 3300.0)
#: Longest run-up of a motor (common practice: within a second), and the range and the rise that show its beginning.
_RUN_UP_S, _MOTOR_HZ, _RUN_UP_DB = 1.0, (190.0, 850.0), 5.0
#: Lines that a sound is followed by: in how many windows they are looked for, how many, up to where, how prominent, and the share of windows that hold each.
_FOLLOWED_WINDOWS = 32
_FOLLOWED_LINES, _FOLLOWED_HZ, _FOLLOWED_OVER_DB, _HELD = 8, 780.0, 12.0, 0.6
#: What is sure of a window, s; how far around a sound its quiet is looked for, cells; how far from there its edge may be, s.
_CORE_S, _REACH_CELLS, _LATE_S = 0.5, round(30.0 / CELL_S), 0.3
_TONE_DB, _TONE_CELLS = 16.0, 2
#: A controller's beep (common practice: 2 to 4.5 kHz, 50 to 500 ms, repeated) and how far its pitch may stray, octaves.
_BEEP_HZ, _BEEP_WANDER, _BEEP_STEADY = (1800.0, 5000.0), 0.03, 0.7
#: It rises and falls at once; pulses no further apart are one signal; one alone is plainer and longer.
_PULSE_DB, _PULSE_S, _SIGNAL_GAP_S, _ALONE_DB, _ALONE_S = 8.0, 0.6, 1.6, 22.0, 0.12
_SQUEAL_HZ, _SQUEAL_WANDER, _SQUEAL_S = (750.0, 6500.0), 0.15, 0.4
#: How many signals back a pulse may belong: the work must not grow with the clip.
_SIGNALS_BACK = 8
#: Range in which the level of a motor or a pump is taken, Hz.
_PUMP_HZ = (80.0, 2000.0)
_BURIED_DB = 20.0


def hear_tones(features: ClipFeatures, combs: CombTracks, mains: Mains) -> list[Draft]:
    """Name what the lines of a clip say."""
    v = len(combs.even_n)
    if v == 0:
        return []
    stroke = (
        (combs.odd_n >= _STROKE_ODD_N) & (combs.odd_over_db >= _STROKE_OVER_DB)
        & (combs.odd_db > combs.even_db - _STROKE_EVEN_LEAD_DB)
    )  # fmt: skip
    motor = (
        np.isfinite(combs.shaft_hz)
        & (combs.shaft_share >= _SHAFT_SHARE)
        & (combs.shaft_n >= _SHAFT_LINES)
        & ~stroke
    )
    even = (combs.even_n >= 1) & (combs.even_over_db >= _HUM_OVER_DB)
    buzz = (
        even
        & (combs.even_n >= _BUZZ_EVEN_N)
        & (combs.even_high_n >= _BUZZ_HIGH_N)
        & (combs.even_over_db >= _BUZZ_OVER_DB)
        & ~stroke
    )
    # A line as high as that, and none stronger below it, is a whistle of something else.
    hum = even & ~buzz & ~stroke & ~(combs.line_hz > _HUM_HIGHEST_HZ)
    levels = LevelTracks(features)
    drafts: list[Draft] = []
    for sound, active, level_db in (
        ("stroke_train", stroke, combs.odd_db), ("motor_run", motor, combs.shaft_db),
        ("mains_buzz", buzz, combs.even_db), ("mains_hum", hum, combs.even_db),
    ):  # fmt: skip
        for first, stop in runs(active, gap=2):
            if stop - first < min(2, v):
                continue
            if sound == "motor_run" and _buried(levels, combs, first, stop):
                continue
            for part in _joined(level_db, first, stop):
                drafts.append(_locked(sound, levels, combs, mains, *part))
    return _tidy(_mended(drafts)) + _narrow(levels)


def _buried(levels: LevelTracks, combs: CombTracks, first: int, stop: int) -> bool:
    """Whether a comb lies so far under all else that nobody would hear it turn."""
    all_db = levels.level_db(*_PUMP_HZ)[levels.between(first * LINE_S, (stop - 1) * LINE_S + _WINDOW_S)]
    own_db = combs.shaft_db[first:stop][np.isfinite(combs.shaft_hz[first:stop])]
    return len(all_db) > 0 and float(np.median(own_db)) < float(np.median(all_db)) - _BURIED_DB


def _joined(level_db: np.ndarray, first: int, stop: int) -> list[tuple[int, int]]:
    """Split a run where a much louder source joins: the run itself, and each loud stretch in it."""
    level = level_db[first:stop]
    low, high = np.percentile(level, [10, 90])
    if stop - first < 6 or high - low < _JOIN_DB:
        return [(first, stop)]
    loud = [(first + a, first + b) for a, b in runs(level > 0.5 * (low + high), gap=1) if b - a >= 2]
    quiet_n = stop - first - sum(b - a for a, b in loud)
    if not loud or quiet_n < 2:
        return [(first, stop)]
    # Few quiet windows are the loud sound's own fading in and out.
    if quiet_n < 6:
        return loud
    return [(first, stop), *loud]


def _locked(sound: str, levels: LevelTracks, combs: CombTracks, mains: Mains, first: int, stop: int) -> Draft:
    features = levels.features
    edges = _edges(levels, features.lines, _fundamentals(sound, combs, mains, first, stop), first, stop)
    if sound == "motor_run" and not edges.open_start:
        edges = replace(edges, onset_s=_run_up(levels, edges))
    onset, offset = edges.onset_s, edges.offset_s
    inside = slice(first, stop)
    measures: dict[str, float] = {}
    if sound == "motor_run":
        shaft = float(np.nanmedian(combs.shaft_hz[inside]))
        measures |= {
            "shaft_hz": shaft,
            "lines": float(np.max(combs.shaft_n[inside])),
            "level_db": levels.over_outside(*_PUMP_HZ, onset, offset),
        }
        if mains.hz and combs.poles:
            synchronous = 2.0 * (mains.measured_hz or mains.hz) / combs.poles
            measures |= {"poles": float(combs.poles), "slip": 1.0 - shaft / synchronous}
        sure = float(np.clip(0.35 + np.median(combs.shaft_share[inside]), 0.5, 0.97))
    elif sound == "stroke_train":
        expected = max(1, stop - first)
        measures |= {
            "strokes_hz": float(mains.measured_hz or mains.hz or 0.0),
            "lines": float(np.median(combs.odd_n[inside] + combs.even_n[inside])),
            "level_db": levels.over_outside(*_PUMP_HZ, onset, offset),
            "missing_fraction": 1.0 - float(np.sum(combs.odd_n[inside] >= _STROKE_ODD_N)) / expected,
        }
        sure = float(np.clip(0.5 + 0.05 * np.median(combs.odd_n[inside]), 0.5, 0.97))
    else:
        measures |= {
            "line_hz": float(np.nanmedian(combs.line_hz[inside])),
            "lines": float(np.median(combs.even_n[inside])),
            "level_db": float(np.median(combs.even_over_db[inside])),
        }
        sure = float(
            np.clip(
                0.4 + 0.012 * np.median(combs.even_over_db[inside]) + 0.03 * np.median(combs.even_n[inside]),
                0.5,
                0.97,
            )
        )
    return Draft(
        sound, onset, offset, sure, measures, edges.open_start, edges.open_end, edges.rises, edges.falls
    )


def _fundamentals(sound: str, combs: CombTracks, mains: Mains, first: int, stop: int) -> list[float]:
    """Rates whose multiples a sound consists of, Hz; a motor has its coils' beside its shaft's."""
    locked = mains.measured_hz or mains.hz
    rates = [] if locked is None else [float(locked) if sound == "stroke_train" else 2.0 * float(locked)]
    if sound == "motor_run":
        rates.append(float(np.nanmedian(combs.shaft_hz[first:stop])))
    return rates


@dataclass(frozen=True, slots=True)
class _Edges:
    """Where a locked or slipping sound begins and ends, whether beyond the clip, and whether its level shows it."""

    onset_s: float
    offset_s: float
    open_start: bool
    open_end: bool
    rises: bool
    falls: bool


def _edges(levels: LevelTracks, table: LineTable, fundamentals: list[float], first: int, stop: int) -> _Edges:
    """Place the edges of a run of windows where the level of its lines, or of their range, rises and falls most."""
    start_s, end_s = first * LINE_S, (stop - 1) * LINE_S + _WINDOW_S
    duration_s = levels.features.duration_s
    open_start, open_end = first == 0, stop >= len(table.hz)
    onset, offset, rises, falls = start_s, end_s, True, True
    tracks = levels.bands(*_EDGE_HZ)
    if len(tracks) > 4:
        begins, ends = (
            (max(0.0, start_s - _LATE_S), start_s + _WINDOW_S),
            (end_s - _WINDOW_S, end_s + _LATE_S),
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
    return _Edges(onset, offset, open_start, open_end, rises, falls)


def _run_up(levels: LevelTracks, edges: _Edges) -> float:
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
        inner[0] * LINE_S + (_WINDOW_S - _CORE_S) / 2, (inner[1] - 1) * LINE_S + (_WINDOW_S + _CORE_S) / 2
    )


def _lines(table: LineTable, fundamentals: list[float], first: int, stop: int) -> np.ndarray:
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


def _mended(drafts: list[Draft]) -> list[Draft]:
    """Join neighbours of one sound between which nothing rose or fell: its lines were lost for a while."""
    out: list[Draft] = []
    for draft in sorted(drafts, key=lambda d: (d.sound, d.onset_s)):
        last = out[-1] if out else None
        if last is not None and last.sound == draft.sound and _alike(last, draft):
            last.probability = max(last.probability, draft.probability)
            continue
        if (
            last is not None and last.sound == draft.sound and not (last.edge_end and draft.edge_start)
            and -0.5 < draft.onset_s - last.offset_s < _LOST_S
            and abs(draft.measures["level_db"] - last.measures["level_db"]) < _OTHER_DB
        ):  # fmt: skip
            last.offset_s, last.open_end, last.edge_end = draft.offset_s, draft.open_end, draft.edge_end
            last.probability = max(last.probability, draft.probability)
            continue
        out.append(draft)
    return out


def _alike(one: Draft, other: Draft) -> bool:
    """Whether two runs were followed to the same edges."""
    return one.overlap_s(other) > _SAME_SHARE * max(one.duration_s, other.duration_s)


def _tidy(drafts: list[Draft]) -> list[Draft]:
    """A hum that lies inside a running motor or pump is that motor's own."""
    carriers = [d for d in drafts if d.sound in ("motor_run", "stroke_train")]
    out = []
    for draft in drafts:
        if draft.sound == "mains_hum" and any(draft.overlap_s(c) > 0.6 * draft.duration_s for c in carriers):
            continue
        out.append(draft)
    return out


def _narrow(levels: LevelTracks) -> list[Draft]:
    """Squeals and beeps: a narrow peak that stands for some time at one pitch."""
    features = levels.features
    octave = np.log2(np.maximum(features.tone_hz, 1.0))
    drafts: list[Draft] = []
    pulses: list[Draft] = []
    for first, stop in runs(features.tone_db > _TONE_DB, gap=1):
        if stop - first < _TONE_CELLS:
            continue
        hz = float(2 ** np.median(octave[first:stop]))
        wander = float(np.std(octave[first:stop]))
        measures = {"tone_hz": hz, "level_db": float(np.median(features.tone_db[first:stop]))}
        # A piezo's third harmonic is at times the stronger one.
        pitch = np.where(
            octave[first:stop] > np.log2(_BEEP_HZ[1]), octave[first:stop] - np.log2(3), octave[first:stop]
        )
        steady = np.abs(pitch - np.median(pitch)) < _BEEP_WANDER
        beep_hz = float(2 ** np.median(pitch))
        if _BEEP_HZ[0] <= beep_hz <= _BEEP_HZ[1] and steady.mean() >= _BEEP_STEADY:
            mine = _pulses(levels, beep_hz, first, stop)
            pulses += [
                Draft("beep", a * CELL_S, b * CELL_S, 0.6, {**measures, "tone_hz": beep_hz}) for a, b in mine
            ]
            if mine:
                continue
        # Lower tones are mostly lines of motors and voices: left to the other detectors.
        if (
            _SQUEAL_HZ[0] <= hz <= _SQUEAL_HZ[1]
            and wander < _SQUEAL_WANDER
            and (stop - first) * CELL_S >= _SQUEAL_S
        ):
            drafts.append(
                Draft(
                    "squeal", first * CELL_S, stop * CELL_S, 0.6, measures,
                    first == 0, stop >= len(features.tone_db),
                )
            )  # fmt: skip
    return drafts + _signals(pulses)


def _pulses(levels: LevelTracks, hz: float, first: int, stop: int) -> list[tuple[int, int]]:
    """Cells of a tone that is switched on and off, each time for a moment; none if it rings or fades."""
    level = levels.features.bands_db[
        :, int(np.argmin(np.abs(np.array(BANDS_K) - 10 * np.log10(hz / 1000.0))))
    ]
    peak = float(level[first:stop].max())
    mine = []
    for start, end in runs(level[first:stop] > peak - _PULSE_DB):
        start, end = start + first, end + first
        # What rings falls by a few decibels a cell.
        before, after = level[max(0, start - 2) : start], level[end : end + 2]
        sharp = all(len(side) and float(side.min()) < peak - 1.6 * _PULSE_DB for side in (before, after))
        if sharp and (end - start) * CELL_S <= _PULSE_S:
            mine.append((start, end))
    return mine


def _signals(pulses: list[Draft]) -> list[Draft]:
    """Join pulses of one pitch to one signal; one alone must be plain."""
    out: list[Draft] = []
    counts: list[int] = []
    for pulse in sorted(pulses, key=lambda d: d.onset_s):
        at = next(
            (
                n for n in range(len(out) - 1, max(-1, len(out) - 1 - _SIGNALS_BACK), -1)
                if pulse.onset_s - out[n].offset_s <= _SIGNAL_GAP_S
                and abs(np.log2(pulse.measures["tone_hz"] / out[n].measures["tone_hz"])) < _BEEP_WANDER
            ),
            None,
        )  # fmt: skip
        if at is None:
            out.append(pulse)
            counts.append(1)
        else:
            out[at].offset_s = pulse.offset_s
            counts[at] += 1
    plain = (d.measures["level_db"] >= _ALONE_DB and d.duration_s >= _ALONE_S for d in out)
    return [d for d, n, alone in zip(out, counts, plain, strict=True) if n >= 2 or alone]
