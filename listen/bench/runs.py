"""Facts of pump runs: how often, how long, and in which state."""

from __future__ import annotations

import re
from itertools import pairwise

from listen.bench.facts import NO, Answer, fact
from listen.bench.phrases import clock
from listen.bench.scene import PumpRun, Scene, overlap_s
from listen.types import SoundEvent

_INTERVAL = re.compile(
    r"\b(?:re-?)?fill(?:s|ed|ing)?\b[^.;]{0,30}?\bevery\s+(\d{1,3})\s*(s|sec|seconds?|m|min|mins|minutes?)\b"
)
#: Strokes that begin within this are one pump's, which grows quieter when the brew ends, s.
_TOGETHER_S = 0.5
#: No brew is shorter than this, s (estimate).
_SHORT_S = 1.5
#: How far a pump stands at the least, over all its range or where strokes lie, dB (estimate).
_LEAST_PUMP_DB, _LEAST_STROKES_DB = 1.0, 6.0
_DRAWS = ("steam", "hot_water", "brew_start", "brew", "cooling_flush", "back_flush", "second_group")
_DRAW_MARKS = ("steam_open", "hot_water_open", "brew_on", "lever_up", "flush", "fill_button")


@fact
def fills_counted(
    scene: Scene, *, states: tuple[str, ...], count: int, min_s: float, max_s: float, apart_s: float
) -> Answer:
    """At least `count` fills in given states, each within `apart_s` of the last.

    No draw may stand in the story that would explain them.
    """
    stretches = scene.stretches(states)
    fills = [
        r
        for r in scene.pump_runs()
        if min_s <= r.duration_s <= max_s
        and any(overlap_s((r.onset_s, r.offset_s), s) > 0.5 * r.duration_s for s in stretches)
        and _is_fill(scene, r)
    ]
    fills = sorted([*fills, *_told_fills(scene, fills, max_s)], key=lambda r: r.onset_s)
    fills = [r for i, r in enumerate(fills) if not i or r.onset_s >= fills[i - 1].offset_s]
    fills = _longest_chain(fills, apart_s)
    if len(fills) < count:
        return NO
    if scene.stretches(_DRAWS) or any(m.word in _DRAW_MARKS for m in scene.marks):
        return NO
    gaps = [b.onset_s - a.onset_s for a, b in pairwise(fills)]
    say = f"{len(fills)} fills at {', '.join(clock(r.onset_s) for r in fills[:8])}"
    if gaps:
        say += f", {min(gaps):.0f} to {max(gaps):.0f} s apart, and nobody drew water or steam"
    return Answer("yes", (say,), tuple(i for r in fills for i in r.event_ids))


@fact
def no_fill_in(scene: Scene, *, states: tuple[str, ...], sure: float = 0.0) -> Answer:
    """No fill that is at least that sure begins or ends in given states; a motor without a click is another appliance."""
    stretches = [scene.widened(s) for s in scene.stretches(states)]
    fills = [
        r
        for r in scene.pump_runs()
        if any(overlap_s((r.onset_s, r.offset_s), s) > 0.3 for s in stretches)
        and _is_fill(scene, r)
        and any(e.id in r.event_ids and e.probability >= sure and _stands(e) for e in scene.events)
    ]
    return NO if fills else Answer("yes", ("no fill is heard with it",))


@fact
def pump_runs_untold(scene: Scene, *, count: int, max_s: float) -> Answer:
    """Several short pump runs, and no person gave a state."""
    runs = [r for r in scene.pump_runs() if r.duration_s <= max_s]
    if scene.told or len(runs) < count:
        return NO
    say = f"{len(runs)} pump runs at {', '.join(clock(r.onset_s) for r in runs[:6])}"
    return Answer("yes", (say,), tuple(i for r in runs for i in r.event_ids))


@fact
def fill_interval_told(scene: Scene, *, at_most_s: float) -> Answer:
    """The person tells of fills at a regular interval, not longer than `at_most_s`."""
    match = _INTERVAL.search(scene.said.lower())
    if match is None:
        return NO
    interval_s = float(match.group(1)) * (1.0 if match.group(2).startswith("s") else 60.0)
    if interval_s > at_most_s:
        return NO
    return Answer("yes", (f"told: it fills every {interval_s / 60:.3g} min",))


@fact
def pump_longer_than(scene: Scene, *, states: tuple[str, ...], run_s: float, begins: bool = False) -> Answer:
    """One pump run lasts longer than `run_s` within given states.

    A motor that goes through the whole clip while another starts and stops with
    clicks is not the pump: a machine has one. With `begins`, no motor that goes through it is.
    """
    stretches = scene.stretches(states)
    for run in scene.pump_runs():
        if scene.another_clicks(run) or (begins and scene.goes_through(run)):
            continue
        inside = sum(overlap_s((run.onset_s, run.offset_s), s) for s in stretches)
        if inside > run_s:
            return Answer("yes", (_say_run(run),), run.event_ids)
    return NO


@fact
def motor_through(scene: Scene, *, states: tuple[str, ...], run_s: float) -> Answer:
    """A motor that goes through the whole clip runs for longer than `run_s` within given states."""
    stretches = scene.stretches(states)
    for run in (r for r in scene.pump_runs() if scene.goes_through(r)):
        if sum(overlap_s((run.onset_s, run.offset_s), s) for s in stretches) > run_s:
            say = f"a motor runs for {run.duration_s:.0f} s, through the whole clip"
            return Answer("yes", (say,), run.event_ids)
    return NO


@fact
def long_pump_untold(scene: Scene, *, run_s: float) -> Answer:
    """One pump run lasts longer than `run_s` and no given state covers it."""
    given = [(s.start_s, s.end_s) for s in scene.spans if s.source == "given"]
    for run in scene.pump_runs():
        inside = sum(overlap_s((run.onset_s, run.offset_s), s) for s in given)
        if run.duration_s - inside > run_s:
            return Answer("yes", (_say_run(run),), run.event_ids)
    return NO


@fact
def pump_after_stop(scene: Scene, *, longer_than_s: float) -> Answer:
    """The pump runs on after the person stopped the brew."""
    for mark in scene.marks:
        if mark.word not in scene.stop_words:
            continue
        for run in runs_of_the_pump(scene, mark.at_s):
            if scene.raises_nothing(run):
                continue
            if run.onset_s < mark.at_s < run.offset_s and run.offset_s - mark.at_s > longer_than_s:
                say = f"stopped at {clock(mark.at_s)}, but the pump runs to {_end(run)}"
                return Answer("yes", (say,), run.event_ids)
    return NO


@fact
def hum_after_stop(scene: Scene, *, longer_than_s: float) -> Answer:
    """A hum that began with a brew goes on after the person stopped it: what it feeds is still fed."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    starts_s = [s[0] for s in scene.stretches(("brew_start", "brew"))]
    for mark in scene.marks:
        if mark.word not in scene.stop_words:
            continue
        for hum in scene.counted("mains_hum", "mains_buzz"):
            begun = not hum.open_start and any(abs(hum.onset_s - s) <= tolerance for s in starts_s)
            if begun and hum.onset_s < mark.at_s and hum.offset_s - mark.at_s > longer_than_s:
                say = f"stopped at {clock(mark.at_s)}, but what hums since the brew began goes on to {clock(hum.offset_s)}"
                return Answer("yes", (say,), (hum.id,))
    return NO


def runs_of_the_pump(scene: Scene, stop_s: float) -> list[PumpRun]:
    """Return what may be runs of the pump that somebody stopped: where one did stop, what goes on is another motor."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    runs = scene.pump_runs()
    stopped = [
        r
        for r in runs
        if not r.open_end and abs(r.offset_s - stop_s) <= tolerance and not _of_a_discharge(scene, r, runs)
    ]
    if not stopped:
        return runs
    return [
        r
        for r in runs
        if r in stopped or not r.onset_s < stop_s < r.offset_s or _same_strokes(scene, r, stopped)
    ]


def _of_a_discharge(scene: Scene, run: PumpRun, runs: list[PumpRun]) -> bool:
    """Tell whether a short run within another is the beat of that one in the noise of a discharge."""
    inside = any(r is not run and r.onset_s <= run.onset_s and run.offset_s <= r.offset_s for r in runs)
    return (
        inside
        and run.duration_s <= _SHORT_S
        and any(
            overlap_s((b.onset_s, b.offset_s), (run.onset_s, run.offset_s)) > 0.0
            for b in scene.counted("burst")
        )
    )


def _same_strokes(scene: Scene, run: PumpRun, stopped: list[PumpRun]) -> bool:
    """Tell whether a run is of strokes that began with what stopped."""
    return scene.strokes(run) and any(abs(run.onset_s - r.onset_s) <= _TOGETHER_S for r in stopped)


def _told_fills(scene: Scene, heard: list[PumpRun], max_s: float) -> list[PumpRun]:
    """Return fills that a person told and a click confirms, though the pump itself was not made out."""
    told = []
    for start, end in scene.stretches(("auto_fill",)):
        if end - start > max_s or any(overlap_s((r.onset_s, r.offset_s), (start, end)) > 0.0 for r in heard):
            continue
        clicks = [c.id for c in scene.counted("click") if abs(c.onset_s - start) <= 0.7]
        if clicks:
            told.append(PumpRun(start, end, (clicks[0],), False, False))
    return told


def _is_fill(scene: Scene, run: PumpRun) -> bool:
    """Tell a fill from another motor: a click at an end, a told fill, or strokes that only a pump makes."""
    told_s = sum(overlap_s((run.onset_s, run.offset_s), s) for s in scene.stretches(("auto_fill",)))
    return told_s > 0.5 * run.duration_s or scene.is_switched(run)


def _stands(event: SoundEvent) -> bool:
    """Tell a pump from a beat in the noise of a jet, which stands nowhere over that noise."""
    m = event.measures
    return m.get("level_db", _LEAST_PUMP_DB) >= _LEAST_PUMP_DB or m.get("stands_db", 0.0) >= _LEAST_STROKES_DB


def _longest_chain(fills: list[PumpRun], apart_s: float) -> list[PumpRun]:
    chains: list[list[PumpRun]] = [[]]
    for run in fills:
        if chains[-1] and run.onset_s - chains[-1][-1].onset_s > apart_s:
            chains.append([])
        chains[-1].append(run)
    return max(chains, key=len)


def _end(run: PumpRun) -> str:
    return "the end of the clip" if run.open_end else clock(run.offset_s)


def _say_run(run: PumpRun) -> str:
    return f"the pump runs for {run.duration_s:.0f} s, from {clock(run.onset_s)} to {_end(run)}"
