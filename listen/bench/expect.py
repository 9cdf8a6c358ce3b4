"""What each state of the story calls for, and whether it was heard."""

from __future__ import annotations

from listen.bench.entries import Expectation
from listen.bench.scene import Scene
from listen.types import Expected, SoundEvent, StorySpan

#: A stretch this short says little of what a state might have brought, s.
_SAYS_LITTLE_S = 5.0


def expected_sounds(scene: Scene) -> tuple[Expected, ...]:
    """Return one entry for each sound that a state of the story must have.

    A missing sound counts as missing only in a state that a person gave, in a
    window that lies within the clip, and where the clip could have carried it; never
    where it is for a kind of machine that this one is only not known not to be.
    """
    return tuple(_one(scene, span, entry) for span, entry in _musts(scene))


def _musts(scene: Scene) -> list[tuple[StorySpan, Expectation]]:
    return [
        (span, entry)
        for span in scene.spans
        for entry in scene.knowledge.expected(span.state, scene.machine)
        if entry.role == "must"
    ]


def open_question(scene: Scene, expected: tuple[Expected, ...]) -> str | None:
    """Return what to ask about the first of :func:`expected_sounds` that could not be told and has a question."""
    for (_, entry), found in zip(_musts(scene), expected, strict=True):
        if entry.question and found.status == "cannot_tell":
            return entry.question
    return None


def _window(scene: Scene, span: StorySpan, entry: Expectation) -> tuple[float, float]:
    if entry.at == "start":
        return span.start_s - entry.before_s, span.start_s + entry.after_s
    if entry.at == "end":
        return span.end_s - entry.before_s, span.end_s + entry.after_s
    tolerance = scene.knowledge.settings.mark_tolerance_s
    return span.start_s - tolerance, span.end_s + tolerance


def _one(scene: Scene, span: StorySpan, entry: Expectation) -> Expected:
    start, end = _window(scene, span, entry)
    hits = [e for e in scene.counted(*entry.sounds) if _within(e, start, end, entry.at)]
    sound = entry.sounds[0]
    if hits:
        return Expected(span.state, hits[0].sound, "heard", tuple(e.id for e in hits))
    if [e for e in scene.faint(*entry.sounds) if _within(e, start, end, entry.at)]:
        return Expected(span.state, sound, "cannot_tell", (), "perhaps there, too faint to count")
    if span.source != "given":
        return Expected(span.state, sound, "cannot_tell", (), "the state itself is only drafted")
    inside = (max(0.0, start), min(scene.duration_s, end))
    if entry.at == "start" and span.start_s < min(entry.before_s, 0.5):
        return Expected(span.state, sound, "cannot_tell", (), "the clip begins too late for it")
    if entry.at == "start" and end > scene.duration_s + 0.5:
        return Expected(span.state, sound, "cannot_tell", (), "the clip ends too early for it")
    if entry.at == "span" and span.end_s - span.start_s < scene.knowledge.settings.mark_tolerance_s:
        return Expected(span.state, sound, "cannot_tell", (), "the state is too short in this clip")
    if not scene.carries(sound, *inside):
        return Expected(span.state, sound, "cannot_tell", (), "this clip could not have carried it")
    if not scene.counted():
        return Expected(span.state, sound, "cannot_tell", (), "nothing at all is heard in this clip")
    if entry.machine.unknown:
        what = " and ".join(entry.machine.unknown)
        return Expected(
            span.state, sound, "cannot_tell", (), f"not heard, and of this machine's {what} nothing is known"
        )
    return Expected(span.state, sound, "missing", (), "not heard, though this clip could have carried it")


def _within(event: SoundEvent, start: float, end: float, at: str) -> bool:
    if at == "span":
        return event.onset_s < end and event.offset_s > start
    return start <= event.onset_s <= end


def blocked_sounds(scene: Scene) -> list[tuple[str, float, float]]:
    """Return what the clip would have to carry, in the states of its story, and does not.

    Where a person gave states, drafted ones ask for nothing.
    """
    out = []
    for span in scene.spans:
        if scene.told and span.source != "given":
            continue
        for entry in scene.knowledge.expected(span.state, scene.machine):
            if not entry.must_carry or (entry.role == "may" and span.end_s - span.start_s < _SAYS_LITTLE_S):
                continue
            if any(
                e.onset_s < span.end_s and e.offset_s > span.start_s for e in scene.counted(*entry.sounds)
            ):
                continue  # it is heard, so the clip carries it
            if not scene.carries(entry.sounds[0], span.start_s, span.end_s):
                out.append((entry.sounds[0], span.start_s, span.end_s))
    return out


def machine_heard(scene: Scene) -> bool:
    """Tell whether a machine is heard, strictly enough that a kitchen is not taken for one.

    With a given story: any sound that the state at that moment calls for or
    allows. Without: a pump run with a discharge at its end, or with a click at
    both ends.
    """
    if scene.told:
        for event in scene.counted():
            for span in scene.spans:
                wide = scene.widened((span.start_s, span.end_s))
                if span.source != "given" or not wide[0] <= event.onset_s <= wide[1]:
                    continue
                entries = scene.knowledge.expected(span.state, scene.machine)
                if any(event.sound in entry.sounds for entry in entries):
                    return True
        return bool(scene.pump_runs())
    clicks = [c.onset_s for c in scene.counted("click")]
    bursts = [b.onset_s for b in scene.counted("burst")]
    after_s = scene.knowledge.settings.burst_after_s
    for run in scene.pump_runs():
        if run.open_end:
            continue
        if any(-0.5 <= b - run.offset_s <= after_s for b in bursts):
            return True
        begun = not run.open_start and any(abs(c - run.onset_s) <= 0.7 for c in clicks)
        if begun and any(abs(c - run.offset_s) <= 0.7 and c - run.onset_s > 1.0 for c in clicks):
            return True
    return False
