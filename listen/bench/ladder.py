"""Order checks and findings: safety first, then from untouched to live.

Within a rung the check that decides most for its trouble comes first. What it
decides is the information, in bits, that its answer is expected to bring on
the causes as they stand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from listen.bench.entries import NEEDS, STRENGTHS, CheckEntry, Danger, Fault
from listen.bench.weights import Weights, head_start, ranked, with_answer
from listen.types import LEVELS, STOP_KINDS, Answered, Check, Finding

#: A check answers as its cause would have it in nine of ten cases (estimate).
_HITS = 0.9
#: Below this a check is passed over while another decides more (estimate).
WORTH_BITS = 0.1
#: How much longer a check may take before another that decides less goes first (estimate).
_TROUBLE: Mapping[str, float] = {"moment": 1.0, "minutes": 2.0, "long": 4.0}


def decides_bits(entry: CheckEntry, weights: Weights) -> float:
    """Return the expected information of a check on the causes, 0 to 1 bit.

    Two steps of weight stand for a doubling; a cause of which the check says
    nothing answers either way.

    References
    ----------
    Mutual information of answer and cause; any textbook of information theory.
    """
    top = max(w.steps for w in weights.values())
    shares = {cause: 2.0 ** ((w.steps - top) / 2.0) for cause, w in weights.items()}
    total = sum(shares.values())
    yes = 0.0
    kept = 0.0
    for cause, share in shares.items():
        p = _HITS if cause in entry.yes_for else 1.0 - _HITS if cause in entry.no_for else 0.5
        yes += share / total * p
        kept += share / total * _entropy(p)
    return max(0.0, _entropy(yes) - kept)


def _entropy(p: float) -> float:
    return 0.0 if p <= 0.0 or p >= 1.0 else -p * math.log2(p) - (1.0 - p) * math.log2(1.0 - p)


def order_checks(
    entries: Iterable[CheckEntry], *, level: str, weights: Weights, done: Iterable[str] = ()
) -> tuple[Check, ...]:
    """Return the open checks: look → controls → covers off, unplugged → live.

    Within a rung those that can stop come first, then what decides most for its
    trouble; ties keep the laid-down order. At level `stop` every check that
    runs the machine is left out.
    """
    done = frozenset(done)
    kept = [e for e in entries if not (level == "stop" and e.runs_machine) and e.check.id not in done]
    kept.sort(
        key=lambda e: (
            NEEDS.index(e.check.needs),
            not e.can_stop,
            -round(decides_bits(e, weights) / _TROUBLE[e.effort], 6),
        )
    )
    return tuple(e.check for e in kept)


def first_that_decides(entries: Sequence[CheckEntry], weights: Weights) -> CheckEntry:
    """Return the check to do now, of checks in their order.

    A check that decides next to nothing is passed over for a later one that
    does decide; one whose answer can stop never is.
    """
    return next(
        (e for e in entries if e.can_stop or decides_bits(e, weights) >= WORTH_BITS),
        entries[0],
    )


def kinds_in_order(groups: Iterable[Sequence[str]]) -> tuple[str, ...]:
    """Return kinds of stop once each, in the order of saying.

    Water comes before power where one of the groups puts it so: water that
    runs with the power off.

    Examples
    --------
    >>> kinds_in_order([("handle",), ("water", "power")])
    ('water', 'power', 'handle')
    """
    groups = [tuple(g) for g in groups]
    order = list(STOP_KINDS)
    if any("water" in g and "power" in g and g.index("water") < g.index("power") for g in groups):
        order.remove("water")
        order.insert(order.index("power"), "water")
    wanted = {kind for group in groups for kind in group}
    return tuple(kind for kind in order if kind in wanted)


def lay_out(
    owner: Fault | Danger,
    *,
    code: str,
    symptom: str,
    level: str,
    strength: str,
    speaks_for: Sequence[str],
    speaks_against: Sequence[str] = (),
    event_ids: Sequence[str] = (),
    stop_kinds: tuple[str, ...] = (),
    say_first: str = "",
    base: Weights | None = None,
    answers: Mapping[str, str] | None = None,
    unproven: bool = False,
) -> Finding:
    """Make a finding of a fault or danger: causes ranked, the next check first.

    `base` holds the weights without answers; `answers` those of its checks. An
    answer that calls for a stop makes the finding one.
    """
    base = base or head_start(owner.causes)
    weights = {k: type(w)(w.steps, [*w.speaks_for], [*w.speaks_against]) for k, w in base.items()}
    answered = []
    groups: list[Sequence[str]] = [stop_kinds]
    for entry in owner.checks:
        answer = (answers or {}).get(entry.check.id)
        if answer is None:
            continue
        weights = with_answer(weights, entry, answer)
        check = entry.check
        means = {"yes": check.if_yes, "no": check.if_no}.get(answer, "")
        answered.append(Answered(check.id, check.text, answer, means))
        groups.append({"yes": check.yes_stops, "no": check.no_stops}.get(answer, ()))
    kinds = kinds_in_order(groups)
    if kinds:
        level = "stop"
    causes = ranked(owner.causes, weights, base)
    return Finding(
        code=code,
        symptom=symptom,
        level=level,
        strength=strength,
        speaks_for=apart(speaks_for),
        speaks_against=tuple(dict.fromkeys(speaks_against)),
        event_ids=tuple(dict.fromkeys(event_ids)),
        parts=tuple(dict.fromkeys(c.part for c in causes if c.part)),
        causes=causes,
        checks=order_checks(owner.checks, level=level, weights=weights, done=[a.id for a in answered]),
        stop_kinds=kinds,
        rests_on=owner.rests_on,
        say_first=say_first,
        answered=tuple(answered),
        unproven=unproven,
    )


def apart(says: Iterable[str]) -> tuple[str, ...]:
    """Return sentences once each, without those that another one holds within it.

    Examples
    --------
    >>> apart(["hiss at 0:05", "it lasts: hiss at 0:05"])
    ('it lasts: hiss at 0:05',)
    """
    once = list(dict.fromkeys(says))
    return tuple(s for s in once if not any(s != other and s in other for other in once))


def order_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings by level, `stop` first, then by strength; ties keep their order."""
    return tuple(sorted(findings, key=lambda f: (-LEVELS.index(f.level), -STRENGTHS.index(f.strength))))


def worst(levels: Iterable[str]) -> str:
    """Return the highest level, `fine` if there is none.

    Examples
    --------
    >>> worst(["watch", "stop", "service"])
    'stop'
    """
    return max(levels, key=LEVELS.index, default="fine")


def stepped(strength: str, steps: int) -> str:
    """Return a strength moved by whole steps, held at the ends of its scale."""
    at = min(max(STRENGTHS.index(strength) + steps, 0), len(STRENGTHS) - 1)
    return STRENGTHS[at]
