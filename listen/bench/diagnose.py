"""Ask every pattern of every fault of a scene, and turn what holds into findings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from listen.bench.entries import Clause, Fault, Pattern
from listen.bench.facts import FACTS, Answer
from listen.bench.ladder import lay_out, order_findings, stepped, worst
from listen.bench.scene import Scene
from listen.bench.weights import Weights, head_start, with_signs
from listen.types import LEVELS, Finding

#: The fault that takes what no other finding covers.
LEFT_OVER = "unexplained_sound"


@dataclass(frozen=True, slots=True)
class Held:
    """A finding with what the judgement needs of the patterns behind it."""

    finding: Finding
    verdict: str
    question: str = ""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All that was found, and what could not be decided.

    `undecided` lists faults with a pattern that the clip leaves open;
    `blocked` what it would have had to carry: (sound, start_s, end_s).
    """

    held: tuple[Held, ...]
    undecided: tuple[tuple[str, str], ...]
    blocked: tuple[tuple[str, float, float], ...]


def ask(scene: Scene, clause: Clause) -> Answer:
    """Ask one fact of a scene; a note of the table is added to what it says."""
    answer = FACTS[clause.fact](scene, **clause.params)
    if clause.note and answer.truth == "yes":
        return replace(answer, say=(f"{clause.note}: {answer.say[0]}" if answer.say else clause.note,))
    return answer


def diagnose(scene: Scene) -> Diagnosis:
    """Ask all faults that can be on this machine."""
    held: list[Held] = []
    undecided: list[tuple[str, str]] = []
    blocked: list[tuple[str, float, float]] = []
    left_over: list[Held] = []
    for fault in scene.knowledge.faults:
        if not fault.machine.holds(scene.machine):
            continue
        firing: list[tuple[Pattern, list[Answer]]] = []
        open_reason = ""
        for pattern in fault.patterns:
            if not pattern.machine.holds(scene.machine):
                continue
            answers = [ask(scene, clause) for clause in pattern.needs]
            truths = {a.truth for a in answers}
            if truths == {"yes"}:
                firing.append((pattern, answers))
            elif "no" not in truths:
                unsure = [a for a in answers if a.truth == "cannot_tell"]
                open_reason = open_reason or (unsure[0].say[0] if unsure[0].say else fault.symptom)
                blocked.extend(b for a in unsure for b in a.blocked)
        if firing:
            made = _finding(scene, fault, firing)
            (left_over if fault.code == LEFT_OVER else held).append(made)
        elif open_reason:
            undecided.append((fault.code, open_reason))
    held = _without_consequences(held, scene)
    held.extend(_uncovered(left_over, held, scene))
    ordered = order_findings(h.finding for h in held)
    place = {id(f): i for i, f in enumerate(ordered)}
    held.sort(key=lambda h: place[id(h.finding)])
    return Diagnosis(tuple(held), tuple(undecided), tuple(blocked))


def _finding(scene: Scene, fault: Fault, firing: list[tuple[Pattern, list[Answer]]]) -> Held:
    """Join the patterns of one fault that hold: the most urgent speaks, the rest adds evidence."""
    rank = {"cannot_tell": 0, "abnormal": 1}
    firing = sorted(firing, key=lambda f: (-LEVELS.index(f[0].level), -rank[f[0].verdict]))
    lead = firing[0][0]
    level = worst(p.level for p, _ in firing)
    verdict = max((p.verdict for p, _ in firing), key=lambda v: rank[v])
    says: list[str] = []
    ids: list[str] = []
    for _, answers in firing:
        for answer in answers:
            says.extend(answer.say)
            ids.extend(answer.event_ids)
    ups = [a for c in lead.supports if (a := ask(scene, c)).truth == "yes"]
    downs = [a for c in lead.against if (a := ask(scene, c)).truth == "yes"]
    says.extend(s for a in ups for s in a.say)
    ids.extend(i for a in ups for i in a.event_ids)
    finding = lay_out(
        fault,
        code=fault.code,
        symptom=lead.symptom or fault.symptom,
        level=level,
        strength=stepped(lead.strength, len(ups) - len(downs)),
        speaks_for=says,
        speaks_against=[s for a in downs for s in a.say],
        event_ids=ids,
        stop_kinds=lead.stop_kinds,
        say_first=lead.say_first,
        base=_weights(scene, fault),
    )
    return Held(finding, verdict, lead.question)


def _weights(scene: Scene, fault: Fault) -> Weights:
    """Return the weights of a fault's causes after the signs of this clip and story."""
    held = []
    for sign in fault.signs:
        answer = ask(scene, sign.clause)
        if answer.truth == "yes":
            held.append((sign, answer.say[0] if answer.say else sign.clause.note or fault.symptom))
    return with_signs(head_start(fault.causes), held)


def _without_consequences(held: list[Held], scene: Scene) -> list[Held]:
    """Drop findings that another one explains, if that one is no less urgent."""
    level = {h.finding.code: LEVELS.index(h.finding.level) for h in held}
    return [
        h
        for h in held
        if not any(
            level.get(code, -1) >= LEVELS.index(h.finding.level)
            for code in scene.knowledge.fault(h.finding.code).explained_by
        )
    ]


def _uncovered(left_over: list[Held], held: list[Held], scene: Scene) -> list[Held]:
    """Keep of the left-over finding only what no other finding names."""
    covered = {i for h in held for i in h.finding.event_ids}
    kept = []
    for item in left_over:
        ids = tuple(i for i in item.finding.event_ids if i not in covered)
        if not ids:
            continue
        fault = scene.knowledge.fault(LEFT_OVER)
        firing = []
        for pattern in fault.patterns:
            answers = [ask(scene, clause) for clause in pattern.needs]
            if all(a.truth == "yes" for a in answers) and any(i in ids for a in answers for i in a.event_ids):
                firing.append((pattern, answers))
        kept.append(_finding(scene, fault, firing))
    return kept
