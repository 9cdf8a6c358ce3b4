"""Verdicts, findings and stops against the truth of whole clips."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from listen.learn.score.intervals import share_of
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


def _share(pairs: Sequence[Pair], test: Callable[[TruthClip, Heard], bool]) -> dict[str, Any]:
    """Share of clips that pass a test, its interval by recordings."""
    return share_of([(clip.group, test(clip, heard)) for clip, heard in pairs])


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
        "right_among_answered": _share(answered, lambda c, h: h.verdict == c.verdict),
        "coverage": _share(asked, lambda c, h: h.verdict != "cannot_tell"),
        "finding_first": _share(faulty, first_right),
        "finding_in_three": _share(faulty, lambda c, h: first_right(c, h, 3)),
        "answered_without_carrying": _share(mute, lambda c, h: h.verdict != "cannot_tell"),
        "wrong_without_carrying": _share(mute, lambda c, h: h.verdict not in ("cannot_tell", c.verdict)),
        "cannot_tell_without_machine": _share(empty, lambda c, h: h.verdict == "cannot_tell"),
        "abnormal_without_machine": _share(empty, lambda c, h: h.verdict == "abnormal"),
        "stops": _score_stops(judged, asked, rules),
        "families": _by_family(judged),
    }


def _score_stops(judged: list[Pair], asked: list[Pair], rules: Rules) -> dict[str, Any]:
    called = [(c, h) for c, h in asked if c.family in rules.stop_from_sound]
    quiet = [(c, h) for c, h in judged if c.verdict != "abnormal"]
    other = [(c, h) for c, h in judged if c.verdict == "abnormal" and c.family not in rules.stop_from_sound]
    return {
        "called_for": sorted({c.family for c, _ in called}),
        "from_sound_where_called_for": _share(called, lambda c, h: stops(h)[0]),
        "false_from_sound": _share(quiet, lambda c, h: stops(h)[0]),
        "false_from_gauge_or_story": _share(quiet, lambda c, h: stops(h)[1]),
        "from_gauge_or_story": _share(judged, lambda c, h: stops(h)[1]),
        "from_sound_on_other_faults": _share(other, lambda c, h: stops(h)[0]),
    }


def _by_family(judged: list[Pair]) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    for family in dict.fromkeys(c.family for c, _ in judged):
        mine = [(c, h) for c, h in judged if c.family == family]
        counted = [
            (c, h) for c, h in mine if c.carries or c.verdict == "cannot_tell"
        ]  # a clip without a machine has nothing to carry
        rows[family] = {
            "clips": len(mine),
            "right": _share(
                counted,
                lambda c, h: first_right(c, h) if c.verdict == "abnormal" else h.verdict == c.verdict,
            ),
            "stops_from_sound": sum(stops(h)[0] for _, h in mine),
            "stops_from_gauge_or_story": sum(stops(h)[1] for _, h in mine),
        }
    return rows
