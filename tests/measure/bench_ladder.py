"""Count the checks to the right part: our ladder against a fixed chart order, on the same events and story.

Run `python -m tests.measure.bench_ladder`. Each worked example of the bench is judged once; each of its finding's
causes is then taken for the truth in turn. A technician answers the checks as that cause would have it, wrongly in one
of ten, by a coin where a check has no bearing on it. Both sides start from the same judgement, and work in the same
answers; only the order differs: the ladder's next check, or the checks as they are laid down, from untouched to live.
Truth and answers come from the same tables: it compares orders, and proves nothing from the field.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from listen.bench import Judgement, answer, load_knowledge, next_check
from listen.bench.entries import NEEDS, CheckEntry, Fault
from listen.types import Check, Finding
from tests.bench_judgement.cases import CASES

WRONG = 0.1
#: A part is found when no other part's cause comes nearer than this to the leading one.
CLEAR_STEPS = 2
SEEDS = 5


@dataclass(frozen=True, slots=True)
class Count:
    """Checks that both sides needed in one case."""

    code: str
    cause: str
    ladder: int
    chart: int


def _found(finding: Finding, part: str) -> bool:
    """Tell whether the finding's leading cause lies in `part`, and clearly."""
    steps = {c.id: c.steps for c in finding.causes}
    for done in finding.answered:
        entry = next(e for _, e in load_knowledge().entries() if e.check.id == done.id)
        ups, downs = (entry.yes_for, entry.no_for) if done.answer == "yes" else (entry.no_for, entry.yes_for)
        for cause in steps:
            steps[cause] += 3 * ((cause in ups) - (cause in downs))
    best = max((steps[c.id] for c in finding.causes if c.part == part), default=-99)
    rest = max((steps[c.id] for c in finding.causes if c.part != part), default=-99)
    return best - rest >= CLEAR_STEPS


def _answer_of(entry: CheckEntry, truth: str, rng: random.Random) -> str:
    if truth in entry.yes_for:
        right = "yes"
    elif truth in entry.no_for:
        right = "no"
    else:
        return rng.choice(["yes", "no"])
    return right if rng.random() >= WRONG else {"yes": "no", "no": "yes"}[right]


def _chart(finding: Finding, entries: dict[str, CheckEntry]) -> Check | None:
    """Return the next check of the fixed chart: as laid down, from untouched to live."""
    still = {c.id for c in finding.checks}
    laid = [e for e in entries.values() if e.check.id in still]
    return min(laid, key=lambda e: NEEDS.index(e.check.needs)).check if laid else None


def _steps(judged: Judgement, fault: Fault, truth: str, part: str, by_ladder: bool, seed: int) -> int:
    rng = random.Random(f"{fault.code} {truth} {seed}")
    entries = {e.check.id: e for e in fault.checks}
    answers = {check_id: _answer_of(entry, truth, rng) for check_id, entry in entries.items()}
    result = replace(judged, findings=tuple(f for f in judged.findings if f.code == fault.code)[:1])
    n = 0
    while not _found(result.findings[0], part):
        check = next_check(result) if by_ladder else _chart(result.findings[0], entries)
        if check is None:
            return n + 1
        n += 1
        result = answer(result, {check.id: answers[check.id]})
        result = replace(result, findings=tuple(f for f in result.findings if f.code == fault.code)[:1])
    return n


def counts(seeds: int = SEEDS) -> Iterator[Count]:
    """Yield the checks that both sides need, for every worked example and each of its causes."""
    for case in CASES:
        fault = load_knowledge().fault(case.code)
        if len(fault.checks) < 2 or len({c.part for c in fault.causes}) < 2:
            continue
        judged = case.judge()
        for cause in fault.causes:
            part = cause.part.words if cause.part else ""
            for seed in range(seeds):
                yield Count(
                    case.code,
                    cause.id,
                    *(_steps(judged, fault, cause.id, part, by, seed) for by in (True, False)),
                )


def _interval(by_finding: list[list[int]]) -> tuple[float, float]:
    """Return the 95 % interval of the mean difference, findings drawn with their cases (percentile bootstrap)."""
    rng = np.random.default_rng(20264)
    means = []
    for _ in range(2000):
        drawn = [by_finding[i] for i in rng.integers(0, len(by_finding), len(by_finding))]
        means.append(np.mean([d for cases in drawn for d in cases]))
    low, high = np.percentile(means, [2.5, 97.5])
    return float(low), float(high)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=SEEDS)
    options = parser.parse_args()
    found = list(counts(options.seeds))
    print(f"{'finding':24} cases  ladder  chart")
    for code in dict.fromkeys(c.code for c in found):
        mine = [c for c in found if c.code == code]
        print(
            f"{code:24} {len(mine):5d} {np.mean([c.ladder for c in mine]):7.2f} {np.mean([c.chart for c in mine]):6.2f}"
        )
    ladder, chart = np.array([c.ladder for c in found]), np.array([c.chart for c in found])
    low, high = _interval(
        [
            [c.chart - c.ladder for c in found if c.code == code]
            for code in dict.fromkeys(c.code for c in found)
        ]
    )
    print(f"{'all':24} {len(found):5d} {ladder.mean():7.2f} {chart.mean():6.2f}")
    print(f"fewer by the ladder: {(chart - ladder).mean():.2f} checks a case [{low:.2f}, {high:.2f}]")
    print(
        f"ladder shorter in {(ladder < chart).sum()}, as long in {(ladder == chart).sum()}, longer in {(ladder > chart).sum()}"
    )


if __name__ == "__main__":
    main()
