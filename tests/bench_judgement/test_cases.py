"""Every fault has a worked example and a twin; every part of the water path is somebody's cause."""

from __future__ import annotations

import pytest

from listen.bench import load_knowledge
from tests.bench_judgement.cases import CASES, Case
from tests.bench_judgement.scenes import codes


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.code)
def test_the_example_is_found_and_its_twin_is_not(case: Case) -> None:
    got = case.judge()
    assert case.code in codes(got), (codes(got), got.because)
    found = next(f for f in got.findings if f.code == case.code)
    assert found.level == case.level and got.verdict == case.verdict, (found.level, got.verdict, got.because)
    assert found.checks and found.causes[0].standing == "first" and found.speaks_for
    twin = case.judge(**case.flip)
    there = next((f for f in twin.findings if f.code == case.code), None)
    # The twin is told apart: not found, or found to be less.
    assert there is None or (there.level, twin.verdict) != (found.level, got.verdict), twin.because


def test_every_fault_has_an_example() -> None:
    assert {c.code for c in CASES} == {f.code for f in load_knowledge().faults}


def test_every_part_of_the_water_path_can_be_at_fault() -> None:
    knowledge = load_knowledge()
    owners = [*knowledge.faults, *knowledge.dangers]
    named = {c.part.slug for o in owners for c in o.causes if c.part is not None}
    assert named == set(knowledge.parts)
    for part in knowledge.parts.values():
        assert part.words and part.does and (part.bring or part.tools or part.slug in ("casing", "outside"))


def test_every_check_has_its_own_name_and_every_cause_its_check() -> None:
    knowledge = load_knowledge()
    ids = [e.check.id for _, e in knowledge.entries()]
    assert len(ids) == len(set(ids)) > 150
    for owner in (*knowledge.faults, *knowledge.dangers):
        decided = {i for e in owner.checks for i in (*e.yes_for, *e.no_for)}
        assert {c.id for c in owner.causes} == decided or len(owner.causes) == 1
