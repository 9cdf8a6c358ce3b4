"""Whether a new model may take the place of the one in use: only where it is measured no worse.

Conventions
-----------
Both models hear the same frozen clips. Two sets are counted apart: *truth*
(scenes whose truth is exact) and *real* (the shop's own clips kept for tests,
whose labels are complete). A candidate is refused when

* on either set a sound that enough clips hold is found significantly worse
  (the 95 % interval of the paired difference in F1, over clips, lies below 0),
* the mean F1 of a set falls by more than `SLACK`,
* it raises more false alarms on real clips,
* a clip on which the model in use says `stop`, and whose truth is not normal, loses its stop, or
* there are too few real clips to tell.

The rules of the bench are data that no training touches; the fourth point makes
sure that what feeds them is not lost either.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from listen.learn.score.events import f1
from listen.learn.score.intervals import resample_weights
from listen.learn.score.match import count_sound
from listen.learn.score.rules import Rules
from listen.learn.score.truth import Heard, TruthClip

#: How far a mean F1 may fall by chance without a refusal.
SLACK = 0.005
#: Fewest real clips on which false alarms can be compared at all.
LEAST_REAL = 3


@dataclass(frozen=True, slots=True)
class Tallies:
    """Counts of one model on one set: arrays [shape=(clips, sounds)] of hits, misses and false alarms."""

    sounds: tuple[str, ...]
    hits: np.ndarray
    misses: np.ndarray
    false: np.ndarray


@dataclass(frozen=True, slots=True)
class Decision:
    """What was decided. `reasons` are why not (empty when promoted); `says` is all of it in words."""

    promoted: bool
    reasons: tuple[str, ...]
    says: str
    measured: dict[str, Any]


def tallies(clips: Sequence[TruthClip], heard: Sequence[Heard], rules: Rules) -> Tallies:
    """Count every sound in every clip."""
    sounds = tuple(rules.kind)
    out = np.zeros((3, len(clips), len(sounds)), np.int64)
    for i, (clip, answer) in enumerate(zip(clips, heard, strict=True)):
        for j, sound in enumerate(sounds):
            counts = count_sound(sound, clip, answer.events, rules)
            out[:, i, j] = counts.hits, counts.misses, counts.false
    return Tallies(sounds, out[0], out[1], out[2])


def decide(
    truth: tuple[Sequence[TruthClip], Sequence[Heard], Sequence[Heard]],
    real: tuple[Sequence[TruthClip], Sequence[Heard], Sequence[Heard]],
    rules: Rules,
) -> Decision:
    """Set a candidate beside the model in use.

    Parameters
    ----------
    truth, real : (clips, heard by the model in use, heard by the candidate)
    rules : Rules
        Tolerances of scoring.
    """
    reasons: list[str] = []
    lines: list[str] = []
    measured: dict[str, Any] = {}
    for name, words, (clips, now, new) in (
        ("truth", "On scenes with exact truth", truth),
        ("real", "On the shop's own clips kept for tests", real),
    ):
        before, after = tallies(clips, now, rules), tallies(clips, new, rules)
        facts = _beside(before, after, rules)
        measured[name] = {"clips": len(clips), **facts}
        reasons += [f"{words.lower()} {reason}" for reason in _worse(facts)]
        lines.append(f"{words} ({len(clips)}): {_in_words(facts)}")
        lost = _lost_stops(clips, now, new)
        measured[name]["lost_stops"] = lost
        if lost:
            reasons.append(f"it no longer says stop on {', '.join(lost[:3])}")
    alarms = measured["real"]["false"]
    if len(real[0]) < LEAST_REAL:
        reasons.append(
            f"only {len(real[0])} real clip(s) with complete labels are kept for tests, and {LEAST_REAL} are needed to "
            "measure false alarms: label more clips of the machines kept for tests, and some without any machine"
        )
    elif alarms[1] > alarms[0]:
        reasons.append(f"on real clips it raises {alarms[1]} false alarms instead of {alarms[0]}")
    head = (
        "Not promoted: " + "; ".join(reasons) + "." if reasons else "Measured no worse than the model in use."
    )
    return Decision(not reasons, tuple(reasons), " ".join([head, *lines]), measured)


def _beside(before: Tallies, after: Tallies, rules: Rules) -> dict[str, Any]:
    clips = len(before.hits)
    weights = resample_weights(clips, rules.resamples, rules.seed) if clips else np.zeros((0, 0))
    rows: dict[str, Any] = {}
    for j, sound in enumerate(before.sounds):
        holding = int((before.hits[:, j] + before.misses[:, j] > 0).sum())
        totals = [[int(part[:, j].sum()) for part in (t.hits, t.misses, t.false)] for t in (before, after)]
        if not any(map(sum, totals)):
            continue
        row: dict[str, Any] = {"clips": holding, "now": totals[0], "new": totals[1]}
        if holding >= rules.least_recordings:
            row["f1"] = [round(float(f1(*total)), 4) for total in totals]
            draws = _f1_draws(after, j, weights) - _f1_draws(before, j, weights)
            low, high = np.nanpercentile(draws, [2.5, 97.5])
            row["change_95"] = [round(float(low), 4), round(float(high), 4)]
        rows[sound] = row
    scored = [row["f1"] for row in rows.values() if "f1" in row]
    mean = [round(float(np.mean([s[k] for s in scored])), 4) for k in (0, 1)] if scored else None
    return {"sounds": rows, "mean_f1": mean, "false": [int(before.false.sum()), int(after.false.sum())]}


def _f1_draws(t: Tallies, j: int, weights: np.ndarray) -> np.ndarray:
    return np.asarray(f1(weights @ t.hits[:, j], weights @ t.misses[:, j], weights @ t.false[:, j]), float)


def _worse(facts: dict[str, Any]) -> list[str]:
    reasons = []
    for sound, row in facts["sounds"].items():
        if "change_95" in row and row["change_95"][1] < 0:
            reasons.append(
                f"{_word(sound)} is found worse (F1 {row['f1'][1]:.2f} instead of {row['f1'][0]:.2f})"
            )
    mean = facts["mean_f1"]
    if mean is not None and mean[1] < mean[0] - SLACK:
        reasons.append(f"the mean F1 falls from {mean[0]:.3f} to {mean[1]:.3f}")
    return reasons


def _lost_stops(clips: Sequence[TruthClip], now: Sequence[Heard], new: Sequence[Heard]) -> list[str]:
    return [
        clip.name
        for clip, a, b in zip(clips, now, new, strict=True)
        if a.level == "stop" and b.level != "stop" and clip.verdict != "normal"
    ]


def _in_words(facts: dict[str, Any]) -> str:
    changed = []
    for sound, row in facts["sounds"].items():
        (hits, misses, false), (new_hits, _, new_false) = row["now"], row["new"]
        if hits == new_hits and false == new_false:
            continue
        finds = f"finds {new_hits} of {hits + misses}" + (f" instead of {hits}" if new_hits != hits else "")
        alarms = f", {new_false} false alarms instead of {false}" if new_false != false else ""
        changed.append((abs(new_hits - hits) + abs(new_false - false), f"{_word(sound)} {finds}{alarms}"))
    if not changed:
        return "nothing changed."
    changed.sort(key=lambda item: -item[0])
    more = f"; and {len(changed) - 8} more sounds" if len(changed) > 8 else ""
    return "; ".join(text for _, text in changed[:8]) + more + "."


def _word(sound: str) -> str:
    return sound.replace("_", " ")
