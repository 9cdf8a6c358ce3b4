"""Weights of evidence on the causes of one finding, in whole steps.

Conventions
-----------
The list of causes runs from often to seldom: the first starts two steps ahead,
the second one. A sign of the clip or the story moves a cause by one or two
steps; an answered check by :data:`ANSWER_STEPS`, more than any one sign. Signs
that go together in nature count once. Steps order causes and choose checks;
they are never shown, and never called a probability: until outcomes are
confirmed in number, a percentage would be invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from listen.bench.entries import CauseEntry, CheckEntry, Sign
from listen.types import Cause

HEAD_START: tuple[int, ...] = (2, 1)
ANSWER_STEPS = 3
#: So far behind the first, and with something against it, a cause is set aside.
SET_ASIDE_STEPS = 3
_ANSWERED = "answered "


@dataclass(slots=True)
class Weight:
    """What stands for and against one cause."""

    steps: int = 0
    speaks_for: list[str] = field(default_factory=list)
    speaks_against: list[str] = field(default_factory=list)


Weights = dict[str, Weight]


def head_start(causes: Sequence[CauseEntry]) -> Weights:
    """Return the weights before anything is known: by how often a cause is met."""
    return {c.id: Weight(HEAD_START[i] if i < len(HEAD_START) else 0) for i, c in enumerate(causes)}


def with_signs(weights: Weights, held: Iterable[tuple[Sign, str]]) -> Weights:
    """Add signs that hold, each with its sentence; within a group only the heaviest moves a cause."""
    moved: dict[tuple[str, str, bool], int] = {}
    for i, (sign, says) in enumerate(held):
        group = sign.group or f"#{i}"
        for ids, speaks_for in ((sign.speaks_for, True), (sign.speaks_against, False)):
            for cause in ids:
                weight = weights[cause]
                before = moved.get((cause, group, speaks_for), 0)
                more = max(sign.steps - before, 0)
                moved[cause, group, speaks_for] = before + more
                weight.steps += more if speaks_for else -more
                (weight.speaks_for if speaks_for else weight.speaks_against).append(says)
    return weights


def from_causes(causes: Iterable[Cause]) -> Weights:
    """Return the weights that a finding carries, without the answers that were worked into it."""
    return {
        c.id: Weight(
            c.steps,
            [s for s in c.speaks_for if not s.startswith(_ANSWERED)],
            [s for s in c.speaks_against if not s.startswith(_ANSWERED)],
        )
        for c in causes
    }


def with_answer(weights: Weights, entry: CheckEntry, answer: str) -> Weights:
    """Add an answered check; "unknown" moves nothing."""
    if answer not in ("yes", "no"):
        return weights
    ups, downs = (entry.yes_for, entry.no_for) if answer == "yes" else (entry.no_for, entry.yes_for)
    says = f"{_ANSWERED}{answer}: {entry.check.text}"
    for cause in ups:
        weights[cause].steps += ANSWER_STEPS
        weights[cause].speaks_for.append(says)
    for cause in downs:
        weights[cause].steps -= ANSWER_STEPS
        weights[cause].speaks_against.append(says)
    return weights


def ranked(causes: Sequence[CauseEntry], weights: Weights, base: Weights) -> tuple[Cause, ...]:
    """Return the causes as they stand, the likeliest first; ties keep the laid-down order.

    Parameters
    ----------
    causes : sequence of CauseEntry
    weights, base : Weights
        With the answers, and without them (what the finding goes on carrying).
    """
    ordered = sorted(causes, key=lambda c: -weights[c.id].steps)
    top = weights[ordered[0].id].steps
    out = []
    for place, cause in enumerate(ordered, 1):
        weight = weights[cause.id]
        aside = bool(weight.speaks_against) and top - weight.steps >= SET_ASIDE_STEPS
        against = tuple(dict.fromkeys(weight.speaks_against))
        out.append(
            Cause(
                text=cause.text,
                order=place,
                id=cause.id,
                part=cause.part.words if cause.part else "",
                standing="first" if place == 1 else "unlikely" if aside else "open",
                steps=base[cause.id].steps,
                speaks_for=tuple(dict.fromkeys(weight.speaks_for)),
                speaks_against=against,
                why_not="; ".join(against) if aside else "",
            )
        )
    return tuple(out)
