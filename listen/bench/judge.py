"""The judgement of a clip: level, what to say first, verdict, findings, the next question.

Level and verdict are independent: a silent clip with the gauge in the red is
`cannot_tell` and `stop`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from listen.bench.answers import with_answers
from listen.bench.candidates import candidates
from listen.bench.diagnose import Diagnosis, Held, diagnose
from listen.bench.entries import Knowledge
from listen.bench.expect import blocked_sounds, expected_sounds, machine_heard, open_question
from listen.bench.judgement import Judgement
from listen.bench.knowledge import load_knowledge
from listen.bench.ladder import order_findings, worst
from listen.bench.machine import Machine
from listen.bench.phrases import sound_words
from listen.bench.safety import check_ids_known, danger_findings, gauge_findings, say_first
from listen.bench.said import contains
from listen.bench.scene import Scene
from listen.bench.story import draft_spans, spans_from_marks
from listen.bench.supposing import state_question
from listen.bench.timings import measure_timings
from listen.errors import BadParameter
from listen.types import Expected, Mains, Quality, SoundEvent, StoryMark, StorySpan
from listen.vocabulary import GAUGES


def judge(
    *,
    events: Sequence[SoundEvent],
    quality: Quality,
    mains: Mains,
    duration_s: float,
    machine: Machine,
    marks: Sequence[StoryMark] = (),
    gauges: Mapping[str, float] | None = None,
    said: str = "",
    answers: Mapping[str, str] | None = None,
    knowledge: Knowledge | None = None,
) -> Judgement:
    """Judge one clip from what was heard and what is known.

    Parameters
    ----------
    events : sequence of SoundEvent
    quality, mains
        What the clip can carry; the mains estimate.
    duration_s : float
    machine : Machine
    marks : sequence of StoryMark
        What a person says was done, or which state began, and when.
    gauges : mapping of str to float
        Readings in bar above atmosphere.
    said : str
        The person's own words.
    answers : mapping of str to str
        Id of a first-minute question or of a check to "yes", "no" or "unknown".
    knowledge : Knowledge or None
        The shipped tables unless others are given.

    Raises
    ------
    BadParameter
        On a gauge or an answer that is not known.
    """
    knowledge = knowledge or load_knowledge()
    gauges = dict(gauges or {})
    for name in gauges:
        if name not in GAUGES:
            raise BadParameter(f"There is no gauge {name!r}; the gauges are {', '.join(GAUGES)}.")
    known = [row.name for row in knowledge.timings]
    for name in machine.timings:
        if name not in known:
            raise BadParameter(f"There is no timing {name!r} in a profile; known are {', '.join(known)}.")
    machine = _as_heard(machine, events, knowledge)
    scene = Scene(
        events=tuple(sorted(events, key=lambda e: (e.onset_s, e.offset_s, e.id))),
        quality=quality,
        mains=mains,
        duration_s=duration_s,
        machine=machine,
        marks=tuple(sorted(marks, key=lambda m: m.at_s)),
        spans=spans_from_marks(marks, duration_s=duration_s, machine=machine, knowledge=knowledge),
        gauges=gauges,
        said=said,
        knowledge=knowledge,
    )
    if not scene.spans:
        scene = _with_spans(scene, draft_spans(scene))
    answers = dict(answers or {})
    check_ids_known(answers, knowledge)
    dangers = danger_findings(said=said, answers=answers, knowledge=knowledge)
    readings = gauge_findings(machine=machine, gauges=gauges, knowledge=knowledge)
    diagnosis = diagnose(scene)
    expected = expected_sounds(scene)
    verdict, because = _verdict(scene, diagnosis, expected)
    maybe = candidates(scene, diagnosis, expected) if verdict == "cannot_tell" else ()
    found = (*dangers, *(h.finding for h in diagnosis.held), *readings, *maybe)
    findings = order_findings(with_answers(found, answers, knowledge))
    level = worst((*(f.level for f in findings), "watch" if verdict == "cannot_tell" else "fine"))
    return Judgement(
        level=level,
        say_first=say_first(findings, machine, knowledge),
        verdict=verdict,
        because=because,
        retake=None if level == "stop" else _retake(scene, diagnosis, expected, verdict),
        story=scene.spans,
        expected=expected,
        findings=findings,
        question=_question(scene, diagnosis, expected, verdict, level),
        timings=measure_timings(scene),
    )


def _as_heard(machine: Machine, events: Sequence[SoundEvent], knowledge: Knowledge) -> Machine:
    """Take a pump that nobody told of for what it is plainly heard to be: nothing else in a kitchen strokes."""
    sure = knowledge.settings.strokes_show_pump
    if machine.pump is None and any(e.sound == "stroke_train" and e.probability >= sure for e in events):
        return replace(machine, pump="vibratory")
    return machine


def _with_spans(scene: Scene, spans: tuple[StorySpan, ...]) -> Scene:
    return replace(scene, spans=spans)


def _verdict(scene: Scene, diagnosis: Diagnosis, expected: tuple[Expected, ...]) -> tuple[str, str]:
    if not scene.quality.usable:
        limits = "; ".join(limit.text for limit in scene.quality.limits[:2])
        return "cannot_tell", f"This recording cannot carry a verdict. {limits}".strip()
    abnormal = [h for h in diagnosis.held if h.verdict == "abnormal"]
    if abnormal:
        return "abnormal", _because(abnormal[0])
    if diagnosis.held:
        return "cannot_tell", _because(diagnosis.held[0])
    if not machine_heard(scene):
        return "cannot_tell", "No machine is heard in this clip."
    missing = [e for e in expected if e.status == "missing"]
    if missing:
        words = scene.knowledge.state_words
        names = ", ".join(f"{sound_words(e.sound)} ({words[e.state]})" for e in missing)
        return "cannot_tell", f"Expected and not heard: {names}."
    if diagnosis.undecided:
        return "cannot_tell", f"This clip leaves it open: {diagnosis.undecided[0].reason}."
    unsure = [e for e in expected if e.status == "cannot_tell"]
    if unsure:
        return (
            "cannot_tell",
            f"It cannot be told whether it was there: {sound_words(unsure[0].sound)} ({unsure[0].text}).",
        )
    blocked = blocked_sounds(scene)
    if blocked:
        return "cannot_tell", f"This clip could not have carried a {sound_words(blocked[0][0])}."
    heard = ", ".join(dict.fromkeys(sound_words(e.sound) for e in expected if e.status == "heard"))
    told = "given" if scene.told else "drafted"
    states = ", ".join(dict.fromkeys(scene.knowledge.state_words[s.state] for s in scene.spans))
    tail = f"; heard where it belongs: {heard}" if heard else ""
    return "normal", f"Nothing unusual heard in this clip ({told}: {states}){tail}."


def _because(held: Held) -> str:
    says = held.finding.speaks_for
    return f"{held.finding.symptom} {says[0][0].upper()}{says[0][1:]}." if says else held.finding.symptom


def _retake(scene: Scene, diagnosis: Diagnosis, expected: tuple[Expected, ...], verdict: str) -> str | None:
    """Return the one thing to do differently: the limit that blocks most of what was needed."""
    needed = {sound for sound, _, _ in (*diagnosis.blocked, *blocked_sounds(scene))}
    needed |= {e.sound for e in expected if e.status == "cannot_tell"}
    scored = []
    for place, limit in enumerate(scene.quality.limits):
        if limit.retake is None:
            continue
        hits = len(needed) if "*" in limit.blocks else len(needed & set(limit.blocks))
        if hits or not scene.quality.usable:
            scored.append((-hits, place, limit.retake))
    if scored:
        return min(scored)[2]
    if verdict == "cannot_tell" and not any(h.question for h in diagnosis.held):
        return scene.knowledge.settings.default_retake
    return None


def _question(
    scene: Scene, diagnosis: Diagnosis, expected: tuple[Expected, ...], verdict: str, level: str
) -> str | None:
    """Return the one question that decides most; none that runs the machine while it must stop."""
    if level != "stop" and verdict != "abnormal":
        for row in scene.knowledge.said_questions:
            if contains(scene.said, row.words):
                return row.question
    for held in diagnosis.held:
        if held.question and (verdict != "abnormal" or held.verdict == "abnormal"):
            return held.question
    if verdict == "cannot_tell" and level != "stop" and (question := open_question(scene, expected)):
        return question
    if verdict == "cannot_tell" and not scene.told and level != "stop":
        return state_question(scene) or scene.knowledge.settings.default_question
    return None
