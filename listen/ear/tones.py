"""Hums, buzzes, pumps and motors from locked and slipping lines; tones from narrow peaks.

The physics (common practice): a coil pulls twice a mains cycle, so it hums at
2f and its multiples; a half-wave fed plunger strikes once a cycle, so it shows
odd multiples too; a turning motor adds a comb at its shaft rate, which slips.
"""

from __future__ import annotations

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.line_edges import WINDOW_S, edges_of_lines, edges_of_motor
from listen.ear.narrow_tones import hear_narrow_tones
from listen.ear.steps import runs
from listen.features.collect import ClipFeatures
from listen.features.mains import CombTracks, lone_shaft_hz, poles_of
from listen.spectra import LINE_S
from listen.types import Mains

#: The sounds of what pumps.
PUMPS = ("motor_run", "stroke_train")
#: Odd multiples of the mains as strong as the even ones: one stroke a cycle.
_STROKE_ODD_N, _STROKE_OVER_DB, _STROKE_EVEN_LEAD_DB = 4, 14.0, 6.0
#: Fewer of them, odd ones and all, that stand so far over all else.
_FEW_ODD_N, _FEW_N, _TOWER_DB = 2, 4, 35.0
#: The same of a whole run, whose median scatters less than single windows: a coil's buzz lies further apart.
_RUN_EVEN_LEAD_DB = 7.8
#: A buzz keeps many even multiples, some of them from the eighth up; a hum has few.
_BUZZ_EVEN_N, _BUZZ_HIGH_N, _BUZZ_OVER_DB = 8, 3, 16.0
_HUM_OVER_DB = 14.0
#: Strongest line that a coil's or a motor's hum may have, Hz (common practice: 2f and a few multiples).
_HUM_HIGHEST_HZ = 800.0
_SHAFT_SHARE, _SHAFT_LINES = 0.4, 3
#: Fits this near to each other are of one rate, as a share of it.
_SAME_SHAFT = 0.02
#: A rise like this within one run is a second source that joins (a pump beside a refrigerator).
_JOIN_DB = 8.0
#: Pause in which lines may be lost, s; and where nothing fell before it and nothing rose after it.
_LOST_S, _LOST_UNSEEN_S = 4.0, 12.0
#: Two spans that share this much are one sound.
_SAME_SHARE = 0.9
#: What differs by this much is no lost line but another machine, heard when the first had stopped.
_OTHER_DB = 12.0
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
    # A coil has no odd ones at all: where they tower, fewer will do (a dull phone keeps few).
    # Not beside a motor, whose shaft may turn at nearly half the mains.
    stroke |= (
        ~(np.isfinite(combs.shaft_hz) & (combs.shaft_n >= _SHAFT_LINES)) & (combs.odd_n >= _FEW_ODD_N) & (combs.odd_n + combs.even_n >= _FEW_N) & (combs.odd_over_db >= _TOWER_DB)
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
                named = "stroke_train" if sound == "mains_buzz" and _strikes(combs, *part) else sound
                drafts.append(_locked(named, levels, combs, mains, *part))
    return _tidy(_mended(drafts)) + hear_narrow_tones(levels)


def _strikes(combs: CombTracks, first: int, stop: int) -> bool:
    """Whether a rich comb of even multiples is that of a pump's strokes: its odd ones are not far below them."""
    part = slice(first, stop)
    return (
        _even_lead_db(combs, first, stop) < _RUN_EVEN_LEAD_DB
        and float(np.median(combs.odd_n[part])) >= _STROKE_ODD_N
        and float(np.median(combs.odd_over_db[part])) >= _STROKE_OVER_DB
    )


def _even_lead_db(combs: CombTracks, first: int, stop: int) -> float:
    """How far the even multiples of the mains lie over the odd ones in a run, dB: a coil beside the pump lifts them."""
    lead_db = combs.even_db[first:stop] - combs.odd_db[first:stop]
    return float(np.median(lead_db))


def _buried(levels: LevelTracks, combs: CombTracks, first: int, stop: int) -> bool:
    """Whether a comb lies so far under all else that nobody would hear it turn."""
    all_db = levels.level_db(*_PUMP_HZ)[levels.between(first * LINE_S, (stop - 1) * LINE_S + WINDOW_S)]
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
    find = edges_of_motor if sound == "motor_run" else edges_of_lines
    edges = find(levels, features.lines, _fundamentals(sound, combs, mains, first, stop), first, stop)
    onset, offset = edges.onset_s, edges.offset_s
    inside = slice(first, stop)
    measures: dict[str, float] = {}
    if sound == "motor_run":
        shaft = _shaft_hz(combs.shaft_hz[inside])
        measures |= {
            "shaft_hz": shaft,
            "lines": float(np.max(combs.shaft_n[inside])),
            "level_db": levels.over_outside(*_PUMP_HZ, onset, offset),
        }
        if mains.hz and np.isfinite(shaft):
            poles = poles_of(shaft, mains.measured_hz or mains.hz)
            synchronous = 2.0 * (mains.measured_hz or mains.hz) / poles
            measures |= {"poles": float(poles), "slip": 1.0 - shaft / synchronous}
        sure = float(np.clip(0.35 + np.median(combs.shaft_share[inside]), 0.5, 0.97))
    elif sound == "stroke_train":
        expected = max(1, stop - first)
        measures |= {
            "strokes_hz": float(mains.measured_hz or mains.hz or 0.0),
            "lines": float(np.median(combs.odd_n[inside] + combs.even_n[inside])),
            "level_db": levels.over_outside(*_PUMP_HZ, onset, offset),
            "missing_fraction": 1.0 - float(np.sum(combs.odd_n[inside] >= _STROKE_ODD_N)) / expected,
            "even_lead_db": _even_lead_db(combs, first, stop),
        }
        sure = float(np.clip(0.5 + 0.05 * np.median(combs.odd_n[inside]), 0.5, 0.97))
    else:
        measures |= {
            "line_hz": float(np.nanmedian(combs.line_hz[inside])),
            "lines": float(np.median(combs.even_n[inside])),
            "level_db": float(np.median(combs.even_over_db[inside])),
        }
        turning = lone_shaft_hz(features.lines, mains.measured_hz or mains.hz or 50.0, first, stop)
        if turning is not None:
            measures["shaft_hz"] = turning
        sure = float(
            np.clip(
                0.4 + 0.012 * np.median(combs.even_over_db[inside]) + 0.03 * np.median(combs.even_n[inside]),
                0.5,
                0.97,
            )
        )
    if sound in PUMPS:
        beside = {
            "stands_db": levels.stands_db(onset, offset),
            "after_db": levels.after_db(onset, offset),
            "behind_db": levels.behind_db(onset, offset),
        }
        measures |= {name: db for name, db in beside.items() if np.isfinite(db)}
    return Draft(
        sound, onset, offset, sure, measures, edges.open_start, edges.open_end, edges.rises, edges.falls
    )


def _fundamentals(sound: str, combs: CombTracks, mains: Mains, first: int, stop: int) -> list[float]:
    """Rates whose multiples a sound consists of, Hz; a motor has its coils' beside its shaft's."""
    locked = mains.measured_hz or mains.hz
    rates = [] if locked is None else [float(locked) if sound == "stroke_train" else 2.0 * float(locked)]
    if sound == "motor_run":
        rates.append(_shaft_hz(combs.shaft_hz[first:stop]))
    return rates


def _shaft_hz(fitted: np.ndarray) -> float:
    """Rate of a shaft from the fits of its windows: a comb fits half its rate and a third of it as well, so most of them decide."""
    rates = np.sort(fitted[np.isfinite(fitted)])
    if not len(rates):
        return float("nan")
    # Sorted, not each against each: a motor may run for an hour.
    first = np.searchsorted(rates, rates * (1.0 - _SAME_SHAFT))
    stop = np.searchsorted(rates, rates * (1.0 + _SAME_SHAFT), side="right")
    most = stop - first
    chosen = int(np.flatnonzero(most == most.max())[-1])
    return float(np.median(rates[first[chosen] : stop[chosen]]))


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
            and -0.5 < draft.onset_s - last.offset_s < _longest_pause_s(last, draft)
            and abs(draft.measures["level_db"] - last.measures["level_db"]) < _OTHER_DB
        ):  # fmt: skip
            last.offset_s, last.open_end, last.edge_end = draft.offset_s, draft.open_end, draft.edge_end
            last.probability = max(last.probability, draft.probability)
            continue
        out.append(draft)
    return out


def _longest_pause_s(one: Draft, next_one: Draft) -> float:
    return _LOST_S if one.edge_end or next_one.edge_start else _LOST_UNSEEN_S


def _alike(one: Draft, other: Draft) -> bool:
    """Whether two runs were followed to the same edges."""
    return one.overlap_s(other) > _SAME_SHARE * max(one.duration_s, other.duration_s)


def _tidy(drafts: list[Draft]) -> list[Draft]:
    """A hum that lies inside a running motor or pump is that motor's own."""
    carriers = [d for d in drafts if d.sound in PUMPS]
    out = []
    for draft in drafts:
        if draft.sound == "mains_hum" and any(draft.overlap_s(c) > 0.6 * draft.duration_s for c in carriers):
            continue
        out.append(draft)
    return out
