"""Count one sound in one clip: hits, misses, false alarms, and the rank of every answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from listen.learn.score.rules import Rules
from listen.learn.score.truth import ABSENT, FIND, FREE, TruthClip, TruthLabel
from listen.types import SoundEvent

#: An event that lies to this share under something that is free is not held against the ear.
_EXCUSED_SHARE = 0.5


@dataclass(slots=True)
class Counts:
    """Of one sound in one clip.

    `answers` are (probability, hit); `labels` had to be found, and `touched` of them lie under
    some event of their sound, however badly its edges are placed.
    """

    hits: int = 0
    misses: int = 0
    false: int = 0
    labels: int = 0
    touched: int = 0
    answers: list[tuple[float, bool]] = field(default_factory=list)
    missed: list[TruthLabel] = field(default_factory=list)
    wrong: list[SoundEvent] = field(default_factory=list)


def count_sound(sound: str, clip: TruthClip, events: Sequence[SoundEvent], rules: Rules) -> Counts:
    """Count one sound by the rule that holds for it.

    Parameters
    ----------
    sound : str
    clip : TruthClip
    events : sequence of SoundEvent
        All that was heard in the clip.
    rules : Rules
    """
    mine = [e for e in events if e.sound == sound]
    wanted, free = wanted_and_free(sound, clip, rules)
    if clip.weak:
        counts = _whole_clip(mine, wanted, free)
    elif rules.kind[sound] == "segment":
        counts = _by_segment(mine, wanted, free, clip.duration_s, rules)
    else:
        counts = _one_to_one(sound, mine, wanted, free, rules)
    slack_s = rules.onset_s["onset"] if rules.kind[sound] == "onset" else 0.0
    counts.labels = len(wanted)
    counts.touched = sum(
        any(e.onset_s <= w.offset_s + slack_s and e.offset_s >= w.onset_s - slack_s for e in mine)
        for w in wanted
    )
    return counts


def wanted_and_free(
    sound: str, clip: TruthClip, rules: Rules
) -> tuple[list[TruthLabel], list[tuple[float, float]]]:
    """Return the labels of a sound that must be found, and the spans in which it may be heard."""
    heard = [label for label in clip.labels if label.status(rules) != ABSENT]
    covers = [
        (c.onset_s, c.offset_s)
        for c in heard
        if c.sound in rules.free_inside.get(sound, ()) and not clip.weak
    ]
    wanted, free = [], list(covers)
    for label in heard:
        if label.sound != sound:
            continue
        covered = any(_covered(label.onset_s, label.offset_s, *c) >= _EXCUSED_SHARE for c in covers)
        if label.status(rules) == FREE or covered:
            free.append((label.onset_s, label.offset_s))
        elif label.status(rules) == FIND:
            wanted.append(label)
    return wanted, free


def _covered(onset_s: float, offset_s: float, low_s: float, high_s: float) -> float:
    """Share of a span that lies under another; a moment lies in or out."""
    if offset_s - onset_s < 1e-6:
        return float(low_s <= onset_s <= high_s)
    return max(0.0, min(offset_s, high_s) - max(onset_s, low_s)) / (offset_s - onset_s)


def agrees(sound: str, event: SoundEvent, label: TruthLabel, rules: Rules) -> bool:
    """Whether an event lies on a label within the tolerances of its sound."""
    kind = rules.kind[sound]
    # As the published metrics do, a difference equal to the tolerance agrees; 1e-9 forgives rounding.
    if abs(event.onset_s - label.onset_s) > rules.onset_s[kind] + 1e-9:
        return False
    if kind == "onset":
        return True
    tolerance_s = max(rules.offset_s, rules.offset_share * (label.offset_s - label.onset_s))
    return abs(event.offset_s - label.offset_s) <= tolerance_s + 1e-9


def pair_up(agree: np.ndarray, probability: np.ndarray) -> np.ndarray:
    """Pair events with labels, one to one: as many as can be, and among those the surest events.

    So the events above any threshold hold as many hits as if they alone were paired (sets that
    can be paired are a matroid: the heaviest is the heaviest at every threshold), which is what
    average precision asks for.

    Parameters
    ----------
    agree : np.ndarray [shape=(events, labels)], bool
    probability : np.ndarray [shape=(events,)]

    Returns
    -------
    np.ndarray [shape=(events,)], int
        Each event's label, -1 for none.
    """
    partner = np.full(len(agree), -1)
    if agree.size == 0:
        return partner
    # One pair more outweighs any order of sureness among them.
    rank = np.empty(len(probability))
    rank[np.argsort(probability, kind="stable")] = np.arange(len(probability))
    weight = agree * (1 + rank[:, None] / (len(rank) + 1) ** 2)
    rows, columns = linear_sum_assignment(weight, maximize=True)
    paired = agree[rows, columns]
    partner[rows[paired]] = columns[paired]
    return partner


def _one_to_one(
    sound: str,
    events: list[SoundEvent],
    wanted: list[TruthLabel],
    free: list[tuple[float, float]],
    rules: Rules,
) -> Counts:
    partner = pair_up(
        np.array([[agrees(sound, e, w, rules) for w in wanted] for e in events], bool).reshape(
            len(events), len(wanted)
        ),
        np.array([e.probability for e in events]),
    )
    counts = Counts()
    for event, at in zip(events, partner, strict=True):
        if at < 0 and _excused(sound, event, free, rules):
            continue
        hit = bool(at >= 0)
        counts.answers.append((event.probability, hit))
        counts.hits += hit
        if not hit:
            counts.false += 1
            counts.wrong.append(event)
    found = set(partner[partner >= 0].tolist())
    counts.missed = [label for n, label in enumerate(wanted) if n not in found]
    counts.misses = len(counts.missed)
    return counts


def _excused(sound: str, event: SoundEvent, free: list[tuple[float, float]], rules: Rules) -> bool:
    if rules.kind[sound] == "onset":
        slack = rules.onset_s["onset"]
        return any(low - slack <= event.onset_s <= high + slack for low, high in free)
    return any(_covered(event.onset_s, event.offset_s, *span) >= _EXCUSED_SHARE for span in free)


def active_segments(spans: Sequence[tuple[float, float]], n: int, segment_s: float) -> np.ndarray:
    """Return which of n segments any of the spans touches [shape=(n,)], bool."""
    active = np.zeros(n, bool)
    for onset_s, offset_s in spans:
        first = math.floor(onset_s / segment_s + 1e-9)
        last = max(first + 1, math.ceil(offset_s / segment_s - 1e-9))
        active[max(0, first) : max(0, last)] = True
    return active


def _by_segment(
    events: list[SoundEvent], wanted: list[TruthLabel], free: list[tuple[float, float]], duration_s: float, rules: Rules
) -> Counts:  # fmt: skip
    size = rules.segment_s
    n = max(1, math.ceil(duration_s / size - 1e-9))
    truth = active_segments([(w.onset_s, w.offset_s) for w in wanted], n, size)
    open_ = active_segments(free, n, size) & ~truth
    best = np.zeros(n)
    heard = np.zeros(n, bool)
    for event in events:
        mine = active_segments([(event.onset_s, event.offset_s)], n, size)
        heard |= mine
        best = np.where(mine, np.maximum(best, event.probability), best)
    counts = Counts()
    for at in np.flatnonzero(heard & ~open_):
        counts.answers.append((float(best[at]), bool(truth[at])))
    counts.hits = int((heard & truth).sum())
    counts.misses = int((~heard & truth).sum())
    counts.false = int((heard & ~truth & ~open_).sum())
    for label in wanted:
        mine = active_segments([(label.onset_s, label.offset_s)], n, size)
        if not (heard & mine).any():
            counts.missed.append(label)
    for event in events:
        mine = active_segments([(event.onset_s, event.offset_s)], n, size)
        if not (mine & (truth | open_)).any():
            counts.wrong.append(event)
    return counts


def _whole_clip(
    events: list[SoundEvent], wanted: list[TruthLabel], free: list[tuple[float, float]]
) -> Counts:
    counts = Counts()
    surest = max(events, key=lambda e: e.probability, default=None)
    if wanted:
        counts.hits, counts.misses = int(surest is not None), int(surest is None)
        counts.missed = [] if surest is not None else wanted[:1]
    elif surest is not None and not free:
        counts.false = 1
        counts.wrong = [surest]
    if surest is not None and (wanted or not free):
        counts.answers.append((surest.probability, bool(wanted)))
    return counts
