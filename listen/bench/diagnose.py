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
#: Facts of what was not heard.
ABSENCES = frozenset({"click_missing", "burst_missing", "not_heard_in", "pump_silent"})


@dataclass(frozen=True, slots=True)
class Held:
    """A finding with what the judgement needs of the patterns behind it.

    `by_absence`: it rests on what was not heard; at the same level and strength
    what was heard goes before it.
    """

    finding: Finding
    verdict: str
    question: str = ""
    by_absence: bool = False


@dataclass(frozen=True, slots=True)
class Undecided:
    """A fault that the clip leaves open: why, and the finding it would be.

    Attributes
    ----------
    reason : str
    finding : Finding
        What it would be, with what keeps the clip from proving it.
    blocked : tuple of (sound, start_s, end_s)
        What was not carried.
    by_absence : bool
        It would rest on what was not heard.
    contradicted : bool
        Something that was heard or told speaks against it.
    """

    reason: str
    finding: Finding
    blocked: tuple[tuple[str, float, float], ...]
    by_absence: bool
    contradicted: bool


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All that was found, and what could not be decided.

    `undecided` lists faults with a pattern that the clip leaves open;
    `blocked` what it would have had to carry: (sound, start_s, end_s).
    """

    held: tuple[Held, ...]
    undecided: tuple[Undecided, ...]
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
    undecided: list[Undecided] = []
    blocked: list[tuple[str, float, float]] = []
    left_over: list[Held] = []
    for fault in scene.knowledge.faults:
        if not fault.machine.holds(scene.machine):
            continue
        firing: list[tuple[Pattern, list[Answer]]] = []
        left_open: tuple[Pattern, list[Answer]] | None = None
        for pattern in fault.patterns:
            if not pattern.machine.holds(scene.machine):
                continue
            answers = [ask(scene, clause) for clause in pattern.needs]
            truths = {a.truth for a in answers}
            if truths == {"yes"}:
                firing.append((pattern, answers))
            elif "no" not in truths:
                left_open = left_open or (pattern, answers)
                blocked.extend(b for a in answers if a.truth == "cannot_tell" for b in a.blocked)
        if firing:
            made = _finding(scene, fault, firing)
            (left_over if fault.code == LEFT_OVER else held).append(made)
        elif left_open:
            undecided.append(_left_open(scene, fault, *left_open))
    held = _without_consequences(held, scene)
    held.extend(_uncovered(left_over, held, scene))
    held.sort(key=lambda h: h.by_absence)
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
    return Held(finding, verdict, lead.question, _by_absence(lead))


def _by_absence(pattern: Pattern) -> bool:
    return any(clause.fact in ABSENCES for clause in pattern.needs)


def _left_open(scene: Scene, fault: Fault, pattern: Pattern, answers: list[Answer]) -> Undecided:
    """Lay out what a fault would be, with what keeps the clip from proving it."""
    unsure = [a for a in answers if a.truth == "cannot_tell"]
    reason = unsure[0].say[0] if unsure[0].say else fault.symptom
    finding = lay_out(
        fault,
        code=fault.code,
        symptom=f"This clip does not settle it, but it could be: {fault.symptom[0].lower()}{fault.symptom[1:]}",
        level="watch",
        strength="weak",
        speaks_for=[s for a in answers if a.truth == "yes" for s in a.say] or [reason],
        speaks_against=[s for a in unsure for s in a.say],
        event_ids=[i for a in answers for i in a.event_ids],
        base=_weights(scene, fault),
        unproven=True,
    )
    contradicted = any(ask(scene, clause).truth == "yes" for clause in pattern.against)
    blocked = tuple(b for a in unsure for b in a.blocked)
    return Undecided(reason, finding, blocked, _by_absence(pattern), contradicted)


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
