"""Facts of rhythm and trend: what repeats, how evenly, what grows, which strokes are missing."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from listen.bench.facts import NO, Answer, fact, say_event
from listen.bench.phrases import about, clock, lasting, sound_words
from listen.bench.scene import Scene, overlap_s
from listen.types import SoundEvent

#: A heater that cycles rests longer than this (estimate, until real machines are measured).
_PAUSE_S = 8.0
#: A sound in pieces is one sound while so much of it is heard.
_FILLED = 0.4
#: How far apart the heights of one switch's clicks may lie from their median, dB (estimate).
_ALIKE_DB = 8.0
#: Shorter pieces say nothing of growth.
_TELLS_GROWTH_S = 10.0


def _inside(scene: Scene, events: list[SoundEvent], states: tuple[str, ...]) -> list[SoundEvent]:
    stretches = scene.stretches(states)
    return [e for e in events if any(s[0] <= e.onset_s <= s[1] for s in stretches)]


def _of_one_height(clicks: list[SoundEvent]) -> list[SoundEvent]:
    heights_db = [c.measures["level_db"] for c in clicks if "level_db" in c.measures]
    if not heights_db:
        return clicks
    typical_db = median(heights_db)
    return [c for c in clicks if abs(c.measures.get("level_db", typical_db) - typical_db) <= _ALIKE_DB]


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

    `spread` is the largest share by which three quarters of the intervals may
    differ from their median. One switch sounds alike each time: clicks of other
    heights (metal that ticks as it cools, something in the room) are left out.
    """
    edges = [t for r in scene.pump_runs() for t in (r.onset_s, r.offset_s)]
    clicks = [
        c
        for c in _inside(scene, scene.counted("click"), states)
        if all(abs(c.onset_s - t) > 0.7 for t in edges)
    ]
    clicks = _of_one_height(clicks)
    if len(clicks) < count:
        return NO
    gaps = sorted(b.onset_s - a.onset_s for a, b in pairwise(clicks))
    middle = median(gaps)
    even = sum(abs(g - middle) <= spread * middle for g in gaps) >= 0.75 * len(gaps)
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


def _kept_up(scene: Scene, sounds: tuple[str, ...], states: tuple[str, ...]) -> list[list[SoundEvent]]:
    """Return the pieces of a sound in given states, joined where it broke off for less than a heater's pause.

    A chain of which less than `_FILLED` is heard is no lasting sound.
    """
    stretches = scene.stretches(states)
    chains: list[list[SoundEvent]] = []
    for e in scene.counted(*sounds):
        if not any(overlap_s((e.onset_s, e.offset_s), s) > 0.0 for s in stretches):
            continue
        if chains and e.onset_s - max(p.offset_s for p in chains[-1]) <= _PAUSE_S:
            chains[-1].append(e)
        else:
            chains.append([e])
    return [c for c in chains if sum(e.duration_s for e in c) >= _FILLED * _whole_s(c)]


def _whole_s(chain: list[SoundEvent]) -> float:
    return max(e.offset_s for e in chain) - chain[0].onset_s


def _inside_s(scene: Scene, chain: list[SoundEvent], states: tuple[str, ...]) -> float:
    span = (chain[0].onset_s, max(e.offset_s for e in chain))
    return sum(overlap_s(span, s) for s in scene.stretches(states))


@fact
def keeps_on(scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], min_s: float) -> Answer:
    """A sound goes on for `min_s` in given states, with no break as long as a heater's pause."""
    for chain in _kept_up(scene, sounds, states):
        if _inside_s(scene, chain, states) >= min_s:
            pieces = f", in {len(chain)} pieces" if len(chain) > 1 else ""
            say = f"{sound_words(chain[0].sound)} for {lasting(_whole_s(chain))} from {clock(chain[0].onset_s)} on{pieces}"
            return Answer("yes", (say,), tuple(e.id for e in chain))
    return NO


@fact
def growing(
    scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], db_per_min: float, min_s: float
) -> Answer:
    """A lasting sound in given states that grows by at least so much a minute.

    Of a sound in pieces the longer ones say how it grows.
    """
    for chain in _kept_up(scene, sounds, states):
        long = [e for e in chain if e.duration_s >= _TELLS_GROWTH_S]
        if not long or _inside_s(scene, chain, states) < min_s:
            continue
        growth = sum(e.duration_s * e.measures.get("growth_db_per_min", 0.0) for e in long)
        growth /= sum(e.duration_s for e in long)
        if growth >= db_per_min:
            first = max(long, key=lambda e: e.duration_s)
            say = f"{say_event(first)}, growing by {about(growth, 'dB')} a minute"
            return Answer("yes", (say,), tuple(e.id for e in chain))
    return NO


@fact
def strokes_missing(scene: Scene, *, fraction: float, sure: float = 0.0) -> Answer:
    """A vibratory pump leaves out at least this share of its strokes; a beat that is hardly heard loses some by itself."""
    for e in (e for e in scene.counted("stroke_train") if e.probability >= sure):
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
