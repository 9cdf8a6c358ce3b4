"""All figures of one set of clips, as one JSON-able sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from listen.learn.score.calibration import score_calibration
from listen.learn.score.events import count_all, group_places, score_events
from listen.learn.score.mains import score_mains
from listen.learn.score.misses import worst
from listen.learn.score.rules import Rules, load_rules
from listen.learn.score.truth import Pair
from listen.learn.score.unfamiliar import score_unfamiliar
from listen.learn.score.verdicts import score_verdicts

SCHEMA = "listen-scores/1"


def score_set(
    pairs: Sequence[Pair], *, about: str, facts: Mapping[str, Any] | None = None, rules: Rules | None = None
) -> dict[str, Any]:
    """Score one set of clips.

    Parameters
    ----------
    pairs : sequence of (TruthClip, Heard)
    about : str
        One sentence: what the set is, and what its figures may be called.
    facts : mapping, optional
        What identifies the set (hash of its list, number left out), stored as it is.
    rules : Rules, optional
        The shipped ones unless others are given.

    Returns
    -------
    dict
        JSON-able.
    """
    rules = rules or load_rules()
    counted = count_all(pairs, rules)
    _, n_recordings = group_places(pairs)
    sheet: dict[str, Any] = {
        "about": about,
        **(facts or {}),
        "clips": len(pairs),
        "recordings": n_recordings,
        **score_events(pairs, counted, rules),
        "calibration": score_calibration(pairs, rules),
        "unfamiliar": score_unfamiliar(None, None, resamples=rules.resamples, seed=rules.seed + 2),
        "misses": worst(pairs, counted, rules),
    }
    if any(clip.verdict is not None for clip, _ in pairs):
        sheet["verdicts"] = score_verdicts(pairs, rules)
    mains = score_mains(pairs, rules)
    if mains is not None:
        sheet["mains"] = mains
    return sheet


def missing_set(about: str, why: str) -> dict[str, Any]:
    """Return the sheet of a set that could not be scored, with the reason."""
    return {"about": about, "not_scored": why}


def for_keeping(sheet: Mapping[str, Any]) -> dict[str, Any]:
    """Return a sheet without what is of use only beside its clips: the files of its misses, and credits."""
    sets = {}
    for name, part in sheet["sets"].items():
        misses = [{k: v for k, v in m.items() if k not in ("file", "credit")} for m in part.get("misses", [])]
        sets[name] = {**part, **({"misses": misses} if "misses" in part else {})}
    return {**sheet, "sets": sets}


def as_sheet(sets: Mapping[str, Any], *, model: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    """Put the sheets of all sets into one document; nothing is averaged over sets."""
    return {"schema": SCHEMA, "model": dict(model), **more, "sets": dict(sets)}
