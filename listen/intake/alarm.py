"""The safety answers of a customer: what they call for, before anything is uploaded or heard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from listen.bench import first_minute_questions, judge
from listen.bench.machine import Machine, unknown_machine
from listen.types import Mains, Quality


@dataclass(frozen=True, slots=True)
class Alarm:
    """What answers and words call for: a level, and what to do first ('' where nothing presses)."""

    level: str
    say_first: str


def alarm(answers: Mapping[str, str], *, said: str = "", machine: Machine | None = None) -> Alarm:
    """Judge a customer's answers and words alone; no recording is needed or awaited.

    Parameters
    ----------
    answers : mapping of str to str
        Id of a first-minute question to "yes", "no" or "unknown".

    Examples
    --------
    >>> alarm({}).say_first
    ''
    """
    silent = Quality(False, (0.0, 0.0), 0.0, float("-inf"), float("-inf"))
    judged = judge(
        events=(), quality=silent, mains=Mains(None, "unknown"), duration_s=0.0, machine=machine or unknown_machine(),
        answers=dict(answers), said=said,
    )  # fmt: skip
    stop = judged.level == "stop"
    return Alarm("stop" if stop else "", (judged.say_first or "") if stop else "")


def answers_from(ticked: list[str], *, none_of_these: bool) -> dict[str, str]:
    """Turn ticked questions into answers: what was not ticked is a no only where that was said."""
    asked = [question.id for question in first_minute_questions()]
    otherwise = "no" if none_of_these and not set(ticked) & set(asked) else "unknown"
    return {name: "yes" if name in ticked else otherwise for name in asked}
