"""Clips and answers made by hand or at random for the scorer's tests."""

from __future__ import annotations

import numpy as np

from listen.learn.score import Heard, HeardFinding, TruthClip, TruthLabel
from listen.types import SoundEvent


def label(sound, onset_s, offset_s, **more):
    return TruthLabel(sound, onset_s, offset_s, **more)


def event(sound, onset_s, offset_s, probability=0.9):
    return SoundEvent("e1", sound, onset_s, offset_s, probability)


def clip(labels=(), name="a", **more):
    return TruthClip(name=name, group=more.pop("group", name), duration_s=more.pop("duration_s", 20.0), labels=list(labels), **more)  # fmt: skip


def heard(events=(), verdict="cannot_tell", level="watch", findings=()):
    return Heard(list(events), verdict, level, [HeardFinding(*f) for f in findings])


def random_pairs(sound, seed, n_clips=12, duration_s=20.0, length_s=(0.4, 6.0), jitter_s=0.12):
    """Clips with labels of one sound, and events near them, at random; a fifth missed, a few invented."""
    rng = np.random.default_rng(seed)
    pairs = []
    for number in range(n_clips):
        labels, events, at = [], [], float(rng.uniform(0, 1.5))
        while at < duration_s - length_s[1]:
            end = at + float(rng.uniform(*length_s))
            labels.append(label(sound, round(at, 6), round(end, 6)))
            if rng.random() < 0.8:
                shift = rng.normal(0, jitter_s, 2)
                onset, offset = max(0.0, at + shift[0]), end + shift[1]
                events.append(event(sound, round(onset, 6), round(max(offset, onset + 0.01), 6), round(float(rng.random()), 2)))  # fmt: skip
            if rng.random() < 0.3:
                onset = float(rng.uniform(0, duration_s - 1))
                events.append(event(sound, round(onset, 6), round(onset + 0.3, 6), round(float(rng.random()), 2)))  # fmt: skip
            at = end + float(rng.uniform(0.05, 1.5))
        pairs.append((clip(labels, name=f"clip{number:02d}", duration_s=duration_s), heard(events)))
    return pairs
