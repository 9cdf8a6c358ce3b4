"""What the bench says of a clip."""

from __future__ import annotations

from dataclasses import dataclass

from listen.types import Expected, Finding, StorySpan, Timing


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the bench says of a clip; the fields go into a report as they are."""

    level: str
    say_first: str | None
    verdict: str
    because: str
    retake: str | None
    story: tuple[StorySpan, ...]
    expected: tuple[Expected, ...]
    findings: tuple[Finding, ...]
    question: str | None
    timings: tuple[Timing, ...] = ()
