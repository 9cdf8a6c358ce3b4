"""Per sound: precision, recall, F1 and average precision, each with its recordings and interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from listen.learn.score.intervals import resample_weights, share, spread
from listen.learn.score.match import Counts, count_sound
from listen.learn.score.rules import Rules
from listen.learn.score.truth import Pair


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts of one sound by recording.

    Attributes
    ----------
    hits, misses, false, labels, touched : np.ndarray [shape=(recordings,)]
    probability, hit, group : np.ndarray [shape=(answers,)]
        Every answer, the surest first; `group` is the place of its recording.
    """

    hits: np.ndarray
    misses: np.ndarray
    false: np.ndarray
    labels: np.ndarray
    touched: np.ndarray
    probability: np.ndarray
    hit: np.ndarray
    group: np.ndarray

    @property
    def n_recordings(self) -> int:
        """Recordings in which the sound had to be found."""
        return int(((self.hits + self.misses) > 0).sum())


def tally(sound: str, counted: Sequence[Counts], groups: np.ndarray, n_groups: int) -> Tally:
    """Sum the counts of a sound by recording.

    Parameters
    ----------
    sound : str
    counted : sequence of Counts
        One a clip.
    groups : np.ndarray [shape=(clips,)], int
        Place of each clip's recording.
    n_groups : int
    """

    def by_group(values: list[int]) -> np.ndarray:
        return np.bincount(groups, weights=values, minlength=n_groups) if values else np.zeros(n_groups)

    answers = [(p, hit, g) for c, g in zip(counted, groups, strict=True) for p, hit in c.answers]
    answers.sort(key=lambda a: (-a[0], a[2]))
    return Tally(
        by_group([c.hits for c in counted]),
        by_group([c.misses for c in counted]),
        by_group([c.false for c in counted]),
        by_group([c.labels for c in counted]),
        by_group([c.touched for c in counted]),
        np.array([a[0] for a in answers], float),
        np.array([a[1] for a in answers], bool),
        np.array([a[2] for a in answers], int),
    )


def f1(hits: Any, misses: Any, false: Any) -> Any:
    """Return F1, not a number where there was nothing to find and nothing heard."""
    below = 2 * hits + misses + false
    return np.where(below > 0, 2 * hits / np.maximum(below, 1e-12), np.nan)


def average_precision(
    probability: np.ndarray, hit: np.ndarray, wanted: np.ndarray, weights: np.ndarray
) -> np.ndarray:
    """Return the step-wise area under precision over recall; what was never heard is never reached.

    Parameters
    ----------
    probability : np.ndarray [shape=(answers,)]
        Falling. Equal probabilities enter together.
    hit : np.ndarray [shape=(answers,)], bool
    wanted : np.ndarray [shape=(resamples,)]
        Number of labels to find.
    weights : np.ndarray [shape=(resamples, answers)]
        How often each answer counts.

    Returns
    -------
    np.ndarray [shape=(resamples,)]
        Not a number where nothing was to be found.
    """
    wanted = np.asarray(wanted, float)
    if len(probability) == 0:
        return np.where(wanted > 0, 0.0, np.nan)
    last = np.append(np.diff(probability) != 0, True)
    right = np.cumsum(weights * hit, axis=1)[:, last]
    all_ = np.cumsum(weights, axis=1)[:, last]
    precision = right / np.maximum(all_, 1e-12)
    steps = np.diff(right, axis=1, prepend=0.0)
    return np.where(wanted > 0, (precision * steps).sum(axis=1) / np.maximum(wanted, 1e-12), np.nan)


def count_all(pairs: Sequence[Pair], rules: Rules) -> dict[str, list[Counts]]:
    """Return, for every sound, its counts in each clip."""
    return {sound: [count_sound(sound, c, h.events, rules) for c, h in pairs] for sound in rules.kind}


def group_places(pairs: Sequence[Pair]) -> tuple[np.ndarray, int]:
    """Return the place of each clip's recording, and the number of recordings."""
    names = sorted({clip.group for clip, _ in pairs})
    place = {name: n for n, name in enumerate(names)}
    return np.array([place[clip.group] for clip, _ in pairs], int), len(names)


def score_events(pairs: Sequence[Pair], counted: dict[str, list[Counts]], rules: Rules) -> dict[str, Any]:
    """Score every sound that was there or was heard, and average each family of sounds.

    Returns
    -------
    dict
        `sounds` by word, `families` (mean F1 over the sounds with enough recordings), and
        `too_few` (sounds that are listed only).
    """
    groups, n_groups = group_places(pairs)
    weights = resample_weights(n_groups, rules.resamples, rules.seed)
    weak = any(clip.weak for clip, _ in pairs)
    sounds: dict[str, Any] = {}
    draws: dict[str, np.ndarray] = {}
    for sound in rules.kind:
        t = tally(sound, counted[sound], groups, n_groups)
        hits, misses, false = int(t.hits.sum()), int(t.misses.sum()), int(t.false.sum())
        if hits + misses + false == 0:
            continue
        draws[sound] = f1(weights @ t.hits, weights @ t.misses, weights @ t.false)
        ones = np.ones((1, len(t.probability)))
        ap = average_precision(t.probability, t.hit, np.array([hits + misses]), ones)[0]
        ap_draws = average_precision(t.probability, t.hit, weights @ (t.hits + t.misses), weights[:, t.group])
        sounds[sound] = {
            "family": rules.family_of(sound),
            "counted": "clip" if weak else rules.kind[sound],
            "recordings": t.n_recordings,
            "precision": share(t.hits, t.hits + t.false),
            "recall": share(t.hits, t.hits + t.misses),
            "touched": share(t.touched, t.labels),
            "f1": spread(
                float(f1(hits, misses, false)), draws[sound], t.n_recordings, rules.least_recordings
            ),
            "average_precision": spread(float(ap), ap_draws, t.n_recordings, rules.least_recordings),
            "false": false,
        }
    enough = [s for s, row in sounds.items() if row["recordings"] >= rules.least_recordings]
    families = {}
    for family, words in rules.families.items():
        mine = [s for s in words if s in enough]
        if not mine:
            continue
        table = np.stack([draws[s] for s in mine])
        with np.errstate(invalid="ignore"):
            known = np.isfinite(table)
            mean = np.where(known, table, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        value = float(np.mean([sounds[s]["f1"]["value"] for s in mine]))
        fewest = min(sounds[s]["recordings"] for s in mine)
        families[family] = {"sounds": mine, "mean_f1": spread(value, mean, fewest, rules.least_recordings)}
    return {
        "sounds": sounds,
        "families": families,
        "too_few": sorted(s for s, row in sounds.items() if 0 < row["recordings"] < rules.least_recordings),
        "never_there": sorted(s for s, row in sounds.items() if row["recordings"] == 0),
    }
