"""Filling the boiler: valve and pump start together and stop when the probe is reached (common practice)."""

from __future__ import annotations

from synthetic_audio.score import Score


def _fill(score: Score, at_s: float, for_s: float, click_decides: bool = False, valve: bool = True) -> None:
    score.tell(at_s, "auto_fill")
    if valve:
        score.valve(at_s, opens=True, deciding=click_decides)
        score.held_coil(at_s, for_s)
    else:
        score.valve(at_s, opens=True, deciding=True, absent=True)
    start = at_s + score.between(0.0, 0.12)
    score.pump(start, for_s, load=0.3)
    if valve:
        score.add(
            "water_flow",
            "water_flow",
            start + 0.3,
            max(0.5, for_s - 0.5),
            score.between(-56, -44),
            radius_mm=2.0,
        )
        if at_s + for_s < score.total_s:
            score.valve(at_s + for_s, opens=False)


def _idle(score: Score) -> None:
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(0.9, 1.3), 2)}


def normal_fill(score: Score) -> None:
    """One top-up."""
    _idle(score)
    at = score.between(1.0, 0.25 * score.total_s)
    length = min(score.between(3.0, 10.0), score.total_s - at - 1.5)
    _fill(score, at, length, click_decides=True)
    score.tell(at + length, "idle_hot")


def missing_click_fill(score: Score) -> None:
    """The pump starts for a fill and the valve does not."""
    _idle(score)
    at = score.between(1.0, 0.25 * score.total_s)
    length = score.total_s - at - score.between(1.0, 2.0)
    _fill(score, at, length, valve=False)
    score.tell(at + length, "idle_hot")


def fill_too_often(score: Score) -> None:
    """Three or more fills within two minutes, and nobody drew water."""
    _idle(score)
    count = int(score.rng.integers(3, 5))
    slot = score.total_s / count
    for i in range(count):
        at = i * slot + score.between(0.2, 0.35) * slot
        length = score.between(2.0, 5.0)
        _fill(score, at, length)
        score.tell(at + length, "idle_hot")


def fill_never_ends(score: Score) -> None:
    """A fill that goes on for more than 70 s and is still running at the end, or is switched off."""
    _idle(score)
    at = score.between(1.0, 2.5)
    length = score.total_s - at + 0.5 if score.rng.random() < 0.6 else score.total_s - at - 1.5
    _fill(score, at, max(length, 71.0))
    if at + length < score.total_s:
        score.tell(at + length, "switched_off")
