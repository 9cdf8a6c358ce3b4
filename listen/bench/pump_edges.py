"""Facts of what a sound has to do with a pump: at its stop, behind its start, or without it."""

from __future__ import annotations

from listen.bench.facts import NO, Answer, fact, say_event
from listen.bench.phrases import clock, lasting, sound_words
from listen.bench.runs import runs_of_the_pump
from listen.bench.scene import LOUDER, Scene, overlap_s
from listen.types import SoundEvent

#: A flow is heard in pieces where something else is louder for a moment (estimate).
_FLOW_GAP_S = 3.0
#: How late the beginning of a flow may be told after a discharge, s.
_FLOW_KNOWN_S = 4.0
#: A clip that begins so long before what was opened shows what was there before, s.
_BEFORE_IT_S = 1.0
#: How far before what covers it a sound may be told to end, s.
_COVERED_S = 1.0
#: What flows stands at least this much over the clip's quietest second, and falls by so much where it ends, dB (estimates;
#: training scenes: water from 9, floors taken for it up to 1.4; water that ends falls by 6 and more, such as goes on to 2).
_OVER_QUIET_DB, _FALLS_DB = 3.0, 3.0


@fact
def at_pump_end(scene: Scene, *, sounds: tuple[str, ...], within_s: float, level_db: float = 0.0) -> Answer:
    """A sound begins as a pump stops, at least so loud."""
    for run in scene.pump_runs():
        if run.open_end:
            continue
        for e in scene.counted(*sounds):
            loud = e.measures.get("level_db", level_db) >= level_db
            if loud and abs(e.onset_s - run.offset_s) <= within_s:
                say = f"{say_event(e)}, just as the pump stops at {clock(run.offset_s)}"
                return Answer("yes", (say,), (e.id,))
    return NO


@fact
def follows_pump(
    scene: Scene, *, sounds: tuple[str, ...], after_s: float, before_s: float, min_s: float
) -> Answer:
    """A sound begins `after_s` to `before_s` behind the start of a pump and stops with it."""
    for run in scene.pump_runs():
        for e in scene.counted(*sounds):
            begins = after_s <= e.onset_s - run.onset_s <= before_s
            ends = run.open_end or e.offset_s - run.offset_s <= 1.0
            if begins and ends and overlap_s((e.onset_s, e.offset_s), (run.onset_s, run.offset_s)) >= min_s:
                late = lasting(e.onset_s - run.onset_s)
                return Answer("yes", (f"{say_event(e)}, beginning {late} after the pump",), (e.id,))
    return NO


@fact
def without_pump(
    scene: Scene,
    *,
    sounds: tuple[str, ...],
    states: tuple[str, ...],
    min_s: float,
    at_least: float = float("-inf"),
    to_end: bool = False,
    ends: bool = False,
    throughout: bool = False,
    below_sure: float = 1.01,
) -> Answer:
    """Heard for `min_s` in given states while no pump runs; `at_least`: level, dB; less sure than `below_sure`.

    `to_end`: it must still be there at the end of the clip; `ends`: it must have ended before.
    What turns while the machine is off at the wall is no pump of it; with `throughout`, neither
    is what turns through the whole clip, or starts and stops without a click.
    """
    last_s = scene.duration_s - scene.knowledge.settings.mark_tolerance_s
    runs = [
        (r.onset_s, r.offset_s)
        for r in scene.pump_runs()
        if not throughout
        or (scene.is_switched(r) and not (r.open_start and (r.open_end or r.offset_s >= last_s)))
    ]
    stretches = scene.narrowed(states)
    unplugged = scene.stretches(("off_at_wall",))
    total, events = 0.0, []
    for e in scene.counted(*sounds):
        if e.measures.get("level_db", at_least) < at_least or e.probability >= below_sure:
            continue
        span = (e.onset_s, e.offset_s)
        off = sum(overlap_s(span, s) for s in unplugged) > 0.5 * e.duration_s
        if not off and sum(overlap_s(span, r) for r in runs) > 0.3 * max(e.duration_s, 1e-3):
            continue
        inside = sum(overlap_s(span, s) for s in stretches)
        if inside > 0.0 or any(s[0] <= e.onset_s <= s[1] for s in stretches):
            total += inside
            events.append(e)
    if not events or total < min_s:
        return NO
    tolerance = scene.knowledge.settings.mark_tolerance_s
    # Where the level does not fall, no end was heard.
    still = any(
        e.measures.get("fall_db", _FALLS_DB) < _FALLS_DB
        or _reaches_s(scene, e) >= scene.duration_s - tolerance
        for e in events
    )
    if (to_end and not still) or (ends and still):
        return NO
    says = tuple(f"{say_event(e)}, with no pump running" for e in events[:3])
    return Answer("yes", says, tuple(e.id for e in events))


def _reaches_s(scene: Scene, event: SoundEvent) -> float:
    """Return how far a sound may go on: what covers its end hides where it ends."""
    covers = [
        c.offset_s for c in scene.counted(*LOUDER) if c.onset_s - _COVERED_S <= event.offset_s <= c.offset_s
    ]
    return scene.duration_s if event.open_end else max([event.offset_s, *covers])


@fact
def release_goes_on(
    scene: Scene, *, states: tuple[str, ...], gap_s: float, min_s: float, level_db: float
) -> Answer:
    """A sudden loud release in given states, of no brew, that goes on as a hiss.

    The hiss begins no later than `gap_s` behind the release and is heard for `min_s` in all.
    """
    ends = [r.offset_s for r in scene.pump_runs() if not r.open_end]
    stretches = scene.narrowed(states)
    for release in scene.counted("burst"):
        loud = release.measures.get("level_db", 0.0) >= level_db
        if not loud or not any(s[0] <= release.onset_s <= s[1] for s in stretches):
            continue
        if any(
            abs(end_s - release.onset_s) <= 2.0 * scene.knowledge.settings.burst_after_s for end_s in ends
        ):
            continue  # the discharge of a brew
        after = [h for h in scene.counted("hiss", "blast") if release.onset_s <= h.onset_s]
        after = [h for h in after if scene.explanation(h) is None]
        if (
            after
            and after[0].onset_s - release.offset_s <= gap_s
            and sum(h.duration_s for h in after) >= min_s
        ):
            says = (f"{say_event(release)}, and it goes on as {say_event(after[0])}",)
            return Answer("yes", says, (release.id, *(h.id for h in after)))
    return NO


@fact
def flow_after_stop(
    scene: Scene, *, longer_than_s: float, sounds: tuple[str, ...] = ("water_flow",), to_end: bool = False
) -> Answer:
    """Water (or another of `sounds`) runs on after the person stopped the brew, and no pump runs.

    `to_end`: it must still be there at the end of the clip.
    """
    for mark in scene.marks:
        if mark.word not in (*scene.stop_words, "hot_water_closed"):
            continue
        flow = _flow_from(scene, mark.at_s, sounds)
        if not flow or (to_end and not flow[-1].open_end):
            continue
        to_s = max(_reaches_s(scene, e) for e in flow)
        on_s = to_s - max(mark.at_s, flow[0].onset_s)
        pumps = runs_of_the_pump(scene, mark.at_s)
        # What starts after the stop, and without a click, is no pump either.
        runs = [
            (r.onset_s, r.offset_s)
            for r in pumps
            if not scene.another_clicks(r) and (r.onset_s < mark.at_s or scene.is_switched(r))
        ]
        pumped = sum(overlap_s((mark.at_s, to_s), run) for run in runs)
        if on_s > longer_than_s and pumped <= 0.5 * on_s:
            what = "water flows" if sounds == ("water_flow",) else f"{sound_words(sounds[0])} goes on"
            say = f"stopped at {clock(mark.at_s)}, but {what} for {lasting(on_s)} more"
            return Answer("yes", (say,), tuple(e.id for e in flow))
    return NO


def _flow_from(scene: Scene, at_s: float, sounds: tuple[str, ...]) -> list[SoundEvent]:
    """Return the flow that goes on over a moment, its pieces joined where little lies between them.

    What stands nowhere over the quietest second of the clip is its floor. A discharge right after the
    moment covers what flows beneath it, and what goes on is known to within a second or two.
    """
    covered_s = max(
        (e.offset_s for e in scene.counted("burst") if at_s - 1.0 <= e.onset_s <= at_s + 1.5), default=None
    )
    begins_by_s = at_s + 1.0 if covered_s is None else max(at_s + 1.0, covered_s + _FLOW_KNOWN_S)
    # So does what is louder then, for a while: a tap that is opened much later is another.
    over = [e.offset_s for e in scene.counted(*LOUDER) if e.onset_s <= begins_by_s < e.offset_s]
    begins_by_s = min(max([begins_by_s, *over]), begins_by_s + _FLOW_KNOWN_S)
    brews = scene.stretches(
        ("brew_start", "brew", "hot_water", "cooling_flush", "back_flush", "second_group")
    )
    flow: list[SoundEvent] = []
    for e in scene.counted(*sounds):
        if e.open_start and any(s[0] >= _BEFORE_IT_S and s[0] < at_s for s in brews):
            continue  # it was there before anything was opened
        # Where all the rest is louder, nothing tells.
        if abs(e.measures.get("over_quiet_db", _OVER_QUIET_DB)) < _OVER_QUIET_DB:
            continue
        reach_s = max((f.offset_s for f in flow), default=begins_by_s - _FLOW_GAP_S) + _FLOW_GAP_S
        if e.offset_s > at_s and e.onset_s <= reach_s:
            flow.append(e)
    return flow


@fact
def run_gives_up(scene: Scene, *, states: tuple[str, ...], at_least_s: float, at_most_s: float) -> Answer:
    """One pump run in given states ends after a time at which a fill times out."""
    stretches = scene.stretches(states)
    for run in scene.pump_runs():
        inside = sum(overlap_s((run.onset_s, run.offset_s), s) for s in stretches)
        if inside > 0.5 * run.duration_s and at_least_s <= run.duration_s <= at_most_s and not run.open_end:
            return Answer("yes", (f"the pump gives up after {lasting(run.duration_s)}",), run.event_ids)
    return NO


@fact
def discharge_short(scene: Scene, *, at_most_s: float, states: tuple[str, ...]) -> Answer:
    """The discharge after a given brew is there, and over almost at once."""
    stretches = [scene.widened(s) for s in scene.stretches(states)]
    bursts = [e for e in scene.counted("burst") if any(s[0] <= e.onset_s <= s[1] for s in stretches)]
    if not bursts or any(e.duration_s > at_most_s for e in bursts):
        return NO
    return Answer("yes", (f"the discharge lasts only {lasting(bursts[-1].duration_s)}",), (bursts[-1].id,))
