"""Facts of presence: what was heard, where, with what beside it.

A fact is a small named predicate over a :class:`~listen.bench.scene.Scene`. It
answers yes, no or cannot tell, says why in a sentence with times, and names
the events it rests on. The knowledge tables call facts by name; the loader
checks name and parameters against :data:`FACTS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from listen.bench.phrases import about, clock, lasting, sound_words
from listen.bench.scene import Scene, overlap_s
from listen.types import SoundEvent


@dataclass(frozen=True, slots=True)
class Answer:
    """What a fact says of a scene.

    Attributes
    ----------
    truth : {"yes", "no", "cannot_tell"}
    say : tuple of str
        Why, with times and numbers.
    event_ids : tuple of str
    blocked : tuple of (sound, start_s, end_s)
        What the clip would have had to carry for an answer.
    """

    truth: str
    say: tuple[str, ...] = ()
    event_ids: tuple[str, ...] = ()
    blocked: tuple[tuple[str, float, float], ...] = ()


NO = Answer("no")
Fact = Callable[..., Answer]
FACTS: dict[str, Fact] = {}


def fact(function: Fact) -> Fact:
    """Enter a predicate into the table under its own name."""
    FACTS[function.__name__] = function
    return function


def say_event(event: SoundEvent) -> str:
    """Name an event with its times and the measures a technician reads."""
    end = "the end of the clip" if event.open_end else clock(event.offset_s)
    text = f"{sound_words(event.sound)} from {clock(event.onset_s)} to {end} ({lasting(event.duration_s)}"
    for key, unit in (("level_db", "dB over its surroundings"), ("rate_hz", "a second"), ("line_hz", "Hz")):
        if key in event.measures:
            text += f", {about(event.measures[key], unit)}"
    return text + ")"


def _measured(event: SoundEvent, at_least: Mapping[str, float], at_most: Mapping[str, float]) -> bool:
    """Tell whether measures lie within limits; one that was not taken meets no lower limit."""
    if any(event.measures.get(key, float("-inf")) < value for key, value in at_least.items()):
        return False
    return not any(event.measures.get(key, float("-inf")) > value for key, value in at_most.items())


def _drowned(scene: Scene, event: SoundEvent, others: tuple[str, ...]) -> bool:
    """Tell whether a third of an event or more lies within one of `others`."""
    if not others:
        return False
    span = (event.onset_s, event.offset_s)
    return any(
        overlap_s((o.onset_s, o.offset_s), span) >= 0.33 * max(event.duration_s, 1e-3)
        for o in scene.counted(*others)
    )


def _yes(events: Sequence[SoundEvent]) -> Answer:
    if not events:
        return NO
    return Answer("yes", tuple(say_event(e) for e in events[:4]), tuple(e.id for e in events))


@fact
def heard(
    scene: Scene,
    *,
    sounds: tuple[str, ...],
    min_s: float = 0.0,
    at_least: Mapping[str, float] | None = None,
    at_most: Mapping[str, float] | None = None,
    apart_from: tuple[str, ...] = (),
    sure: float = 0.0,
) -> Answer:
    """Heard anywhere, whatever the state, and not within other sounds that could pass for it; at least that `sure`."""
    events = [
        e
        for e in scene.counted(*sounds)
        if e.duration_s >= min_s
        and e.probability >= sure
        and _measured(e, at_least or {}, at_most or {})
        and not _drowned(scene, e, apart_from)
    ]
    return _yes(events)


@fact
def ends_in(
    scene: Scene, *, sounds: tuple[str, ...], other: tuple[str, ...], within_s: float, min_s: float = 0.0
) -> Answer:
    """A sound of at least `min_s` ends where another begins."""
    return _yes(
        [
            e
            for e in scene.counted(*sounds)
            if not e.open_end
            and e.duration_s >= min_s
            and any(abs(o.onset_s - e.offset_s) <= within_s for o in scene.counted(*other))
        ]
    )


@fact
def heard_in(
    scene: Scene,
    *,
    sounds: tuple[str, ...],
    states: tuple[str, ...],
    min_s: float = 0.0,
    at_least: Mapping[str, float] | None = None,
    at_most: Mapping[str, float] | None = None,
    apart_from: tuple[str, ...] = (),
    sure: float = 0.0,
    sure_if_hidden: float = 0.0,
) -> Answer:
    """Heard for `min_s` in all within given states, which are narrowed at their borders; at least that `sure`.

    `sure_if_hidden`: the same where the clip hides such a sound, as a telephone's band does a hiss: its own noise is left.
    """
    stretches = scene.narrowed(states)
    total, events = 0.0, []
    for e in (e for e in scene.counted(*sounds) if e.probability >= sure):
        if e.probability < sure_if_hidden and not scene.carries(e.sound, e.onset_s, e.offset_s):
            continue
        inside = sum(overlap_s((e.onset_s, e.offset_s), s) for s in stretches)
        touched = any(s[0] <= e.onset_s <= s[1] for s in stretches)
        fits = _measured(e, at_least or {}, at_most or {}) and not _drowned(scene, e, apart_from)
        if (inside > 0.0 or touched) and fits:
            total += inside
            events.append(e)
    return _yes(events) if total >= min_s else NO


@fact
def lasts_in(scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], min_s: float) -> Answer:
    """One sound lasts for `min_s` within one given stretch; pieces of it that overlap are one."""
    stretches = scene.stretches(states)
    found: list[SoundEvent] = []
    for sound in sounds:
        groups: list[list[SoundEvent]] = []
        end_s = 0.0
        for e in scene.counted(sound):
            if groups and e.onset_s <= end_s:
                groups[-1].append(e)
            else:
                groups.append([e])
            end_s = max(p.offset_s for p in groups[-1])
        for pieces in groups:
            span = (pieces[0].onset_s, max(p.offset_s for p in pieces))
            if any(overlap_s(span, s) >= min_s for s in stretches):
                found += pieces
    return _yes(found)


@fact
def unexplained(scene: Scene, *, sounds: tuple[str, ...], min_s: float = 0.0, count: int = 1) -> Answer:
    """Heard `count` times, and no state that could explain it covers it."""
    events = [e for e in scene.counted(*sounds) if e.duration_s >= min_s and scene.explanation(e) is None]
    return _yes(events) if len(events) >= count else NO


@fact
def heard_with_pump(
    scene: Scene, *, sounds: tuple[str, ...], min_s: float, keeps_to_it: bool = False
) -> Answer:
    """Heard while a pump runs, for `min_s` in all.

    With `keeps_to_it` only pump runs that begin or end within the clip count,
    and only sounds that do not stick out of them: what another appliance or a
    walk over gravel seldom does.
    """
    runs = [
        (r.onset_s, r.offset_s)
        for r in scene.pump_runs()
        if not (keeps_to_it and r.open_start and r.open_end)
    ]
    total, events = 0.0, []
    for e in scene.counted(*sounds):
        inside = sum(overlap_s((e.onset_s, e.offset_s), r) for r in runs)
        if keeps_to_it and e.duration_s - inside > scene.knowledge.settings.unexplained_slack_s:
            continue
        if inside > 0.0:
            total += inside
            events.append(e)
    if total < min_s:
        return NO
    ids = tuple(e.id for e in events)
    says = tuple(f"{say_event(e)} while the pump runs" for e in events[:4])
    return Answer("yes", says, ids)


@fact
def heard_in_runs(scene: Scene, *, sounds: tuple[str, ...], runs: int) -> Answer:
    """Heard in at least `runs` separate pump runs."""
    with_it = [
        r
        for r in scene.pump_runs()
        if any(
            overlap_s((e.onset_s, e.offset_s), (r.onset_s, r.offset_s)) > 0.3 for e in scene.counted(*sounds)
        )
    ]
    if len(with_it) < runs:
        return NO
    return Answer("yes", (f"the same sound in {len(with_it)} pump runs",))


@fact
def bounded_by_clicks(scene: Scene, *, sounds: tuple[str, ...], within_s: float) -> Answer:
    """A sound that begins and ends with a click: something was switched for just that long."""
    clicks = [c.onset_s for c in scene.counted("click")]
    events = [
        e
        for e in scene.counted(*sounds)
        if not e.open_start
        and not e.open_end
        and any(abs(c - e.onset_s) <= within_s for c in clicks)
        and any(abs(c - e.offset_s) <= within_s for c in clicks)
    ]
    answer = _yes(events)
    return Answer(
        answer.truth, tuple(f"{s}, with a click at both ends" for s in answer.say), answer.event_ids
    )


@fact
def open_through(scene: Scene, *, sounds: tuple[str, ...]) -> Answer:
    """There from the first moment of the clip to the last, as another appliance would be."""
    events = [e for e in scene.counted(*sounds) if e.open_start and e.open_end]
    return _yes(events)


@fact
def told(scene: Scene) -> Answer:
    """A person gave a state."""
    return Answer("yes") if scene.told else NO


@fact
def not_told(scene: Scene) -> Answer:
    """No person gave a state."""
    return NO if scene.told else Answer("yes")


@fact
def gauge_above(scene: Scene, *, gauge: str, bar: float) -> Answer:
    """A gauge was read and stands above a value."""
    reading = scene.gauges.get(gauge)
    if reading is None or reading <= bar:
        return NO
    return Answer("yes", (f"{gauge} gauge at {reading:.3g} bar",))


@fact
def gauge_below(scene: Scene, *, gauge: str, bar: float) -> Answer:
    """A gauge was read and stands below a value."""
    reading = scene.gauges.get(gauge)
    if reading is None or reading >= bar:
        return NO
    return Answer("yes", (f"{gauge} gauge at {reading:.3g} bar",))


@fact
def gauge_not_above(scene: Scene, *, gauge: str, bar: float) -> Answer:
    """A gauge was not read, or stands no higher than a value."""
    reading = scene.gauges.get(gauge)
    return Answer("yes") if reading is None or reading <= bar else NO


@fact
def gauge_not_read(scene: Scene, *, gauge: str) -> Answer:
    """Nobody read the gauge out."""
    return NO if gauge in scene.gauges else Answer("yes", (f"{gauge} gauge not read",))


@fact
def band_reaches(scene: Scene, *, hz: float) -> Answer:
    """The recording chain let frequencies up to `hz` through, so that a spectral centre means something."""
    return Answer("yes") if scene.quality.band_hz[1] >= hz else NO


@fact
def band_ends_below(scene: Scene, *, hz: float) -> Answer:
    """The recording chain cut frequencies off below `hz`, as a call or a messenger does."""
    return Answer("yes") if scene.quality.band_hz[1] < hz else NO
