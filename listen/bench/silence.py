"""Facts of silence over a whole state: what never came, where the clip could have carried it."""

from __future__ import annotations

from listen.bench.facts import NO, Answer, fact
from listen.bench.phrases import clock, lasting, sound_words
from listen.bench.scene import PUMP_SOUNDS, Scene, overlap_s

#: A long stretch is asked for in slices of this length: one masked minute does not hide an hour.
_SLICE_S = 10.0


@fact
def not_heard_in(
    scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...], min_state_s: float
) -> Answer:
    """Never heard in a given stretch of at least `min_state_s`, though the clip carries it nearly throughout."""
    unsure: Answer = NO
    for start, end in scene.stretches(states):
        if end - start < min_state_s or not scene.counted():
            continue
        near = [e for e in (*scene.counted(*sounds), *scene.faint(*sounds))]
        if any(overlap_s((e.onset_s, e.offset_s), (start, end)) > 0.0 for e in near):
            continue
        what = sound_words(sounds[0])
        n = max(1, round((end - start) / _SLICE_S))
        step = (end - start) / n
        carried = sum(scene.carries(sounds[0], start + i * step, start + (i + 1) * step) for i in range(n))
        if carried < 0.9 * n:
            say = f"no {what} heard, but this clip does not carry it there"
            unsure = Answer("cannot_tell", (say,), (), ((sounds[0], start, end),))
            continue
        say = f"no {what} in {lasting(end - start)} from {clock(start)} on (the clip carries it)"
        return Answer("yes", (say,))
    return unsure


@fact
def nowhere(scene: Scene, *, sounds: tuple[str, ...], states: tuple[str, ...] = ()) -> Answer:
    """None of these sounds is heard in the clip, or in these states where given; the clip could have carried the first of them."""
    stretches = scene.stretches(states) if states else [(0.0, scene.duration_s)]
    if any(s[0] <= e.offset_s and e.onset_s <= s[1] for e in scene.counted(*sounds) for s in stretches):
        return NO
    what = sound_words(sounds[0])
    if scene.faint(*sounds) or not scene.carries(sounds[0], 0.0, scene.duration_s):
        blocked = ((sounds[0], 0.0, scene.duration_s),)
        return Answer("cannot_tell", (f"no {what} heard, but this clip may not carry it",), (), blocked)
    return Answer("yes", (f"no {what} heard (the clip carries it)",))


@fact
def pump_silent(scene: Scene, *, states: tuple[str, ...], min_s: float) -> Answer:
    """In a given state of at least `min_s` no pump is heard, though something else is."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    unsure: Answer = NO
    for stretch in scene.stretches(states):
        wide = scene.widened(stretch)
        if stretch[1] - stretch[0] < min_s:
            continue
        if any(overlap_s((r.onset_s, r.offset_s), wide) > 0.3 for r in scene.pump_runs()):
            continue
        sounds = {"vibratory": ("stroke_train",), "rotary": ("motor_run",)}.get(
            scene.machine.pump or "", PUMP_SOUNDS
        )
        inside = [e for e in scene.counted() if wide[0] <= e.onset_s <= wide[1]]
        faint = any(overlap_s((e.onset_s, e.offset_s), wide) > 0.3 for e in scene.faint(*sounds))
        say = f"no pump heard from {clock(stretch[0])} on"
        if faint or not inside or not all(scene.carries(s, stretch[0] + tolerance, wide[1]) for s in sounds):
            blocked = tuple((s, *stretch) for s in sounds)
            unsure = Answer("cannot_tell", (f"{say}, but this clip may not carry it",), (), blocked)
            continue
        return Answer("yes", (f"{say} (the clip carries one)",), tuple(e.id for e in inside[:2]))
    return unsure
