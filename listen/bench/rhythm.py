"""Facts of rhythm and trend: what repeats, how evenly, what grows, which strokes are missing."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from listen.bench.facts import NO, Answer, fact, say_event
from listen.bench.phrases import about, clock, lasting, sound_words
from listen.bench.scene import Scene, overlap_s
from listen.types import SoundEvent


def _inside(scene: Scene, events: list[SoundEvent], states: tuple[str, ...]) -> list[SoundEvent]:
    stretches = scene.stretches(states)
    return [e for e in events if any(s[0] <= e.onset_s <= s[1] for s in stretches)]


@fact
def regular_clicks(
    scene: Scene,
    *,
    states: tuple[str, ...],
    count: int,
    min_period_s: float,
    max_period_s: float,
    spread: float,
) -> Answer:
    """Single clicks in given states at an even interval; the clicks of pumps are left out.

    `spread` is the largest share by which the middle half of the intervals may
    differ from their median.
    """
    edges = [t for r in scene.pump_runs() for t in (r.onset_s, r.offset_s)]
    clicks = [
        c
        for c in _inside(scene, scene.counted("click"), states)
        if all(abs(c.onset_s - t) > 0.7 for t in edges)
    ]
    if len(clicks) < count:
        return NO
    gaps = sorted(b.onset_s - a.onset_s for a, b in pairwise(clicks))
    middle = median(gaps)
    half = gaps[len(gaps) // 4 : len(gaps) - len(gaps) // 4]
    even = all(abs(g - middle) <= spread * middle for g in half)
    if not even or not min_period_s <= middle <= max_period_s:
        return NO
    say = f"{len(clicks)} single clicks from {clock(clicks[0].onset_s)} on, about {lasting(middle)} apart"
    return Answer("yes", (say,), tuple(c.id for c in clicks))


@fact
def repeated(
    scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], count: int, max_s: float
) -> Answer:
    """The same short sound at least `count` times in given states."""
    events = [e for e in _inside(scene, scene.counted(*sounds), states) if e.duration_s <= max_s]
    if len(events) < count:
        return NO
    say = f"{sound_words(events[0].sound)} {len(events)} times, first at {clock(events[0].onset_s)}"
    return Answer("yes", (say,), tuple(e.id for e in events))


@fact
def growing(
    scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], db_per_min: float, min_s: float
) -> Answer:
    """A lasting sound in given states that grows by at least so much a minute."""
    stretches = scene.stretches(states)
    for e in scene.counted(*sounds):
        growth = e.measures.get("growth_db_per_min", 0.0)
        inside = sum(overlap_s((e.onset_s, e.offset_s), s) for s in stretches)
        if inside >= min_s and growth >= db_per_min:
            return Answer("yes", (f"{say_event(e)}, growing by {about(growth, 'dB')} a minute",), (e.id,))
    return NO


@fact
def strokes_missing(scene: Scene, *, fraction: float) -> Answer:
    """A vibratory pump leaves out at least this share of its strokes."""
    for e in scene.counted("stroke_train"):
        missing = e.measures.get("missing_fraction", 0.0)
        if missing >= fraction and e.duration_s >= 2.0:
            one_in = max(2, round(1.0 / missing))
            return Answer("yes", (f"{say_event(e)}: about one stroke in {one_in} is missing",), (e.id,))
    return NO


@fact
def strokes_at(scene: Scene, *, times_mains: float, within: float) -> Answer:
    """Strokes at a multiple of the mains frequency (one a cycle is usual), within a share of it."""
    mains_hz = scene.mains.measured_hz or scene.mains.hz
    if not mains_hz:
        return NO
    wanted_hz = times_mains * mains_hz
    for e in scene.counted("stroke_train"):
        rate_hz = e.measures.get("strokes_hz")
        if rate_hz is not None and abs(rate_hz - wanted_hz) <= within * wanted_hz:
            say = f"strokes at {about(rate_hz, 'Hz')} on mains of {about(mains_hz, 'Hz')}"
            return Answer("yes", (say,), (e.id,))
    return NO


@fact
def slip_above(scene: Scene, *, slip: float, states: tuple[str, ...]) -> Answer:
    """A motor in given states slips by more than this share: it is loaded heavily."""
    stretches = scene.stretches(states)
    for e in scene.counted("motor_run"):
        inside = sum(overlap_s((e.onset_s, e.offset_s), s) for s in stretches)
        if inside >= 2.0 and e.measures.get("slip", 0.0) > slip:
            part = about(100.0 * e.measures["slip"], "percent")
            return Answer("yes", (f"the motor slips by {part}: it is loaded heavily",), (e.id,))
    return NO
