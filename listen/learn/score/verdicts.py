"""Verdicts, findings and stops against the truth of whole clips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from listen.learn.score.intervals import share
from listen.learn.score.rules import Rules
from listen.learn.score.truth import Heard, Pair, TruthClip
from listen.types import VERDICTS


def stops(heard: Heard) -> tuple[bool, bool]:
    """Return whether the clip was stopped from its sound, and from gauge, story or answers."""
    kinds = {f.from_sound for f in heard.findings if f.level == "stop"}
    return True in kinds, False in kinds


def first_right(clip: TruthClip, heard: Heard, among: int = 1) -> bool:
    """Whether the finding that the clip calls for stands among the first ones."""
    return clip.family in [f.code for f in heard.findings[:among]]


def score_verdicts(pairs: Sequence[Pair], rules: Rules) -> dict[str, Any]:
    """Score the clips that have a verdict.

    Returns
    -------
    dict
        The 3 × 3 table over all of them; over those that carry their answer: right among
        answered, coverage, right finding first and in three; stops; a row a family.
        Clips in which no machine is heard are asked nothing: they are in the table, and
        among the false stops.
    """
    judged = [(c, h) for c, h in pairs if c.verdict is not None]
    table = {t: {v: 0 for v in VERDICTS} for t in VERDICTS}
    for clip, heard in judged:
        table[str(clip.verdict)][heard.verdict] += 1
    asked = [(c, h) for c, h in judged if c.carries and c.verdict != "cannot_tell"]
    answered = [(c, h) for c, h in asked if h.verdict != "cannot_tell"]
    faulty = [(c, h) for c, h in asked if c.verdict == "abnormal"]
    empty = [(c, h) for c, h in judged if c.verdict == "cannot_tell"]
    mute = [(c, h) for c, h in judged if not c.carries and c.verdict != "cannot_tell"]
    return {
        "clips": len(judged),
        "carrying": len(asked),
        "table": table,
        "right_among_answered": share(sum(h.verdict == c.verdict for c, h in answered), len(answered)),
        "coverage": share(len(answered), len(asked)),
        "finding_first": share(sum(first_right(c, h) for c, h in faulty), len(faulty)),
        "finding_in_three": share(sum(first_right(c, h, 3) for c, h in faulty), len(faulty)),
        "answered_without_carrying": share(sum(h.verdict != "cannot_tell" for _, h in mute), len(mute)),
        "wrong_without_carrying": share(
            sum(h.verdict not in ("cannot_tell", c.verdict) for c, h in mute), len(mute)
        ),
        "cannot_tell_without_machine": share(sum(h.verdict == "cannot_tell" for _, h in empty), len(empty)),
        "abnormal_without_machine": share(sum(h.verdict == "abnormal" for _, h in empty), len(empty)),
        "stops": _score_stops(judged, asked, rules),
        "families": _by_family(judged),
    }


def _score_stops(judged: list[Pair], asked: list[Pair], rules: Rules) -> dict[str, Any]:
    called = [(c, h) for c, h in asked if c.family in rules.stop_from_sound]
    quiet = [(c, h) for c, h in judged if c.verdict != "abnormal"]
    other = [(c, h) for c, h in judged if c.verdict == "abnormal" and c.family not in rules.stop_from_sound]
    return {
        "called_for": sorted({c.family for c, _ in called}),
        "from_sound_where_called_for": share(sum(stops(h)[0] for _, h in called), len(called)),
        "false_from_sound": share(sum(stops(h)[0] for _, h in quiet), len(quiet)),
        "false_from_gauge_or_story": share(sum(stops(h)[1] for _, h in quiet), len(quiet)),
        "from_gauge_or_story": share(sum(stops(h)[1] for _, h in judged), len(judged)),
        "from_sound_on_other_faults": share(sum(stops(h)[0] for _, h in other), len(other)),
    }


def _by_family(judged: list[Pair]) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    for family in dict.fromkeys(c.family for c, _ in judged):
        mine = [(c, h) for c, h in judged if c.family == family]
        counted = [
            (c, h) for c, h in mine if c.carries or c.verdict == "cannot_tell"
        ]  # a clip without a machine has nothing to carry
        right = sum(
            first_right(c, h) if c.verdict == "abnormal" else h.verdict == c.verdict for c, h in counted
        )
        rows[family] = {
            "clips": len(mine),
            "right": share(right, len(counted)),
            "stops_from_sound": sum(stops(h)[0] for _, h in mine),
            "stops_from_gauge_or_story": sum(stops(h)[1] for _, h in mine),
        }
    return rows
