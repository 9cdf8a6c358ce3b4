"""Weights of evidence: ordinal, correlated signs once; the choice of checks against an outside oracle."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest

from listen.bench import load_knowledge
from listen.bench.entries import NEEDS, CauseEntry, CheckEntry, Clause, Fault, Sign
from listen.bench.ladder import decides_bits, first_that_decides, kinds_in_order, order_checks
from listen.bench.weights import Weight, Weights, head_start, ranked, with_answer, with_signs
from listen.types import Check
from tests.measure.bench_ladder import counts

A, B, C = (CauseEntry(i, f"cause {i}") for i in "abc")


def sign(steps: int, group: str = "", up: str = "b", down: str = "") -> tuple[Sign, str]:
    return Sign(Clause("told", {}), tuple(up), tuple(down), steps, group), f"sign {steps}{group}"


def check(
    needs: str = "look", yes: str = "a", no: str = "b", effort: str = "moment", slug: str = "x"
) -> CheckEntry:
    return CheckEntry(Check("Text?", needs, "technician", id=slug), False, tuple(yes), tuple(no), effort)


def test_correlated_signs_count_once_and_the_heaviest_of_them() -> None:
    alone = with_signs(head_start((A, B, C)), [sign(2, "steam")])
    twice = with_signs(head_start((A, B, C)), [sign(1, "steam"), sign(2, "steam"), sign(1, "steam")])
    assert alone["b"].steps == twice["b"].steps == 3
    apart = with_signs(head_start((A, B, C)), [sign(1, "steam"), sign(2, "line")])
    assert apart["b"].steps == 4
    assert len(twice["b"].speaks_for) == 3  # all are said, whatever they weigh


def test_a_cause_set_aside_says_why_and_one_without_evidence_is_left_open() -> None:
    base = head_start((A, B, C))
    weights = with_answer(head_start((A, B, C)), check(yes="a", no="b"), "yes")
    causes = ranked((A, B, C), weights, base)
    assert [(c.id, c.standing) for c in causes] == [("a", "first"), ("c", "open"), ("b", "unlikely")]
    assert causes[2].why_not == "answered yes: Text?" and causes[1].why_not == ""
    assert [c.steps for c in causes] == [2, 0, 1]  # what goes on is without the answers


def test_ties_keep_the_laid_down_order() -> None:
    causes = ranked((A, B, C), {i: Weight(1) for i in "abc"}, {i: Weight(1) for i in "abc"})
    assert [c.id for c in causes] == ["a", "b", "c"]


def test_what_a_check_decides_is_the_mutual_information() -> None:
    """Against the definition, H(cause) - H(cause | answer), summed over the joint table (numpy)."""
    rng = random.Random(3)
    for _ in range(50):
        weights: Weights = {i: Weight(rng.randrange(-3, 6)) for i in "abcd"}
        entry = check(yes=rng.choice(["a", "ab", "ac"]), no=rng.choice(["d", "", "d"]))
        share = np.array([2.0 ** (weights[i].steps / 2.0) for i in "abcd"])
        share /= share.sum()
        p = np.array([0.9 if i in entry.yes_for else 0.1 if i in entry.no_for else 0.5 for i in "abcd"])
        joint = np.stack([share * p, share * (1.0 - p)])
        outer = joint.sum(axis=0) * joint.sum(axis=1, keepdims=True)
        bits = float((joint * np.log2(joint / outer)).sum())
        assert decides_bits(entry, weights) == pytest.approx(bits, abs=1e-9)


def test_safety_before_what_decides_most() -> None:
    weak = check("look", yes="a", no="", slug="weak")
    strong = check("qualified_live", yes="a", no="bc", slug="strong")
    stops = CheckEntry(Check("T?", "look", "customer", id="stops", yes_stops=("power",)), False)
    got = order_checks([strong, weak, stops], level="service", weights=head_start((A, B, C)))
    assert [c.id for c in got] == ["stops", "weak", "strong"]


def test_trouble_is_weighed_within_a_rung() -> None:
    long = check("look", yes="a", no="bc", effort="long", slug="long")
    short = check("look", yes="a", no="b", slug="short")
    got = order_checks([long, short], level="service", weights=head_start((A, B, C)))
    assert [c.id for c in got] == ["short", "long"]


def test_kinds_of_stop_in_their_order() -> None:
    assert kinds_in_order([("pump", "power"), ("stand_clear",)]) == ("stand_clear", "power", "pump")
    assert kinds_in_order([("stand_clear", "power"), ("water", "power")]) == ("stand_clear", "water", "power")


def _steps_to_the_cause(
    fault: Fault, truth: str, pick: Callable[[list[CheckEntry], Weights], CheckEntry], rng: random.Random
) -> int:
    """Count checks until the true cause stands clearly first; a check with no bearing on it answers by chance."""
    weights = head_start(fault.causes)
    open_checks = list(fault.checks)
    for n in range(1, len(fault.checks) + 1):
        entry = pick(open_checks, weights)
        open_checks.remove(entry)
        if truth in entry.yes_for:
            word = "yes"
        elif truth in entry.no_for:
            word = "no"
        else:
            word = rng.choice(["yes", "no"])
        weights = with_answer(weights, entry, word)
        others = [w.steps for c, w in weights.items() if c != truth]
        if weights[truth].steps > max(others) + 1:
            return n
    return len(fault.checks) + 1


def ladder_and_chart() -> tuple[float, float, int]:
    """Return the mean count of checks by the ladder and by the fixed chart, and how many cases.

    Both see the same fault, truth and answers; the chart goes down the checks as
    laid down, rung by rung. It is no proof from the field: truth and answers come
    from the same tables.
    """
    counts: list[tuple[int, int]] = []
    for fault in load_knowledge().faults:
        if len(fault.causes) < 3 or len(fault.checks) < 3:
            continue

        def ours(open_checks: list[CheckEntry], weights: Weights, fault: Fault = fault) -> CheckEntry:
            by_id = {e.check.id: e for e in open_checks}
            ordered = order_checks(open_checks, level="service", weights=weights)
            return first_that_decides([by_id[c.id] for c in ordered], weights)

        def chart(open_checks: list[CheckEntry], weights: Weights, fault: Fault = fault) -> CheckEntry:
            return min(open_checks, key=lambda e: NEEDS.index(e.check.needs))

        for cause in fault.causes:
            for seed in range(5):
                counts.append(
                    (
                        _steps_to_the_cause(fault, cause.id, ours, random.Random(seed)),
                        _steps_to_the_cause(fault, cause.id, chart, random.Random(seed)),
                    )
                )
    ladder, chart_count = np.mean(counts, axis=0)
    return float(ladder), float(chart_count), len(counts)


def test_the_ladder_needs_no_more_checks_than_a_fixed_chart() -> None:
    ladder, chart, n = ladder_and_chart()
    assert n > 500 and ladder < 0.95 * chart


def test_on_the_same_events_and_story_the_ladder_is_no_longer_than_the_chart() -> None:
    """`python -m tests.measure.bench_ladder` prints the counts by finding."""
    found = list(counts(seeds=1))
    ladder, chart = sum(c.ladder for c in found), sum(c.chart for c in found)
    assert len(found) > 150 and ladder < chart
