"""Order checks and findings: safety first, then from untouched to live."""

from __future__ import annotations

from collections.abc import Iterable

from listen.bench.entries import NEEDS, STRENGTHS, CheckEntry
from listen.types import LEVELS, Check, Finding


def order_checks(entries: Iterable[CheckEntry], *, level: str) -> tuple[Check, ...]:
    """Return the checks look → controls → covers off, unplugged → live.

    Within a rung the laid-down order stays. At level `stop` every check that
    runs the machine is left out.
    """
    kept = [e.check for e in entries if not (level == "stop" and e.runs_machine)]
    return tuple(sorted(kept, key=lambda check: NEEDS.index(check.needs)))


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
