"""Facts of what a person tells: words, marks, given states, gauges against the machine's own limits."""

from __future__ import annotations

from listen.bench.facts import NO, Answer, fact
from listen.bench.said import tells
from listen.bench.scene import Scene


@fact
def said(scene: Scene, *, words: tuple[str, ...]) -> Answer:
    """The person says so, in words that are not plainly denied."""
    phrase = tells(scene.said, words)
    return NO if phrase is None else Answer("yes", (f"told: '{phrase.strip()}'",))


@fact
def not_said(scene: Scene, *, words: tuple[str, ...]) -> Answer:
    """The person does not say so."""
    return Answer("yes") if tells(scene.said, words) is None else NO


@fact
def state_given(scene: Scene, *, states: tuple[str, ...]) -> Answer:
    """A person gave one of these states."""
    given = [s for s in scene.spans if s.source == "given" and s.state in states]
    if not given:
        return NO
    return Answer("yes", (f"told: {scene.knowledge.state_words[given[0].state]}",))


@fact
def marked(scene: Scene, *, marks: tuple[str, ...]) -> Answer:
    """A person reports one of these actions."""
    found = [m for m in scene.marks if m.word in marks]
    if not found:
        return NO
    return Answer("yes", (f"told: {scene.knowledge.actions[found[0].word].words}",))


@fact
def not_marked(scene: Scene, *, marks: tuple[str, ...]) -> Answer:
    """No person reports any of these actions."""
    return NO if any(m.word in marks for m in scene.marks) else Answer("yes")


@fact
def gauge_near_plate(scene: Scene, *, within_bar: float) -> Answer:
    """The boiler gauge was read, and stands close below the value on the safety valve's plate."""
    bar, plate = scene.gauges.get("boiler"), scene.machine.safety_valve_plate_bar
    if bar is None or plate is None or bar < plate - within_bar:
        return NO
    return Answer("yes", (f"boiler gauge at {bar:.3g} bar; the plate of the safety valve says {plate:.3g}",))


@fact
def gauge_over_band(scene: Scene, *, margin_bar: float) -> Answer:
    """The boiler gauge stands above the working band by more than a margin; 1.3 bar where it is not known."""
    bar = scene.gauges.get("boiler")
    band = scene.machine.boiler_band_bar
    top = 1.3 if band is None else band[1]
    if bar is None or bar <= top + margin_bar:
        return NO
    whose = "this machine" if band is not None else "most machines"
    return Answer(
        "yes", (f"boiler gauge at {bar:.3g} bar; the working band of {whose} ends at {top:.3g} bar",)
    )
