"""Turn a labelled clip into rows for training: features with yes, no, or leave out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listen.features.around import stroke_inputs, texture_inputs
from listen.features.collect import ClipFeatures, Collector
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.starts import find_starts
from listen.features.textures import SEGMENT_S, segment_textures
from listen.learn.recipe import HeadRecipe, Recipe


@dataclass(frozen=True, slots=True)
class Span:
    """A strong label: word, span in s, in-band level over all else in dB.

    `unsure` says that the sound may be there or not.
    """

    sound: str
    onset_s: float
    offset_s: float
    snr_db: float = 60.0
    unsure: bool = False


@dataclass(frozen=True, slots=True)
class LabelledClip:
    """Samples (n,) float32 with strong labels; `group` keeps clips of one machine or recording together."""

    samples: np.ndarray
    rate_hz: int
    spans: Sequence[Span]
    group: int


@dataclass(frozen=True, slots=True)
class Rows:
    """Feature rows `x` [shape=(k, f)], targets `y` [shape=(k, labels)] of 0/1, `group` [shape=(k,)]."""

    x: np.ndarray
    y: np.ndarray
    group: np.ndarray


#: Rows of a clip or of many, by part of the model.
PartRows = dict[str, Rows]


def rows_of(clip: LabelledClip, recipe: Recipe) -> PartRows:
    """Return the rows of one clip for each part of the model that the recipe trains."""
    collector = Collector(clip.rate_hz)
    collector.push(clip.samples)
    return rows_from(collector.finish(), clip.spans, clip.group, recipe)


def rows_from(features: ClipFeatures, spans: Sequence[Span], group: int, recipe: Recipe) -> PartRows:
    """Return the rows of features already measured."""

    def rows(values: np.ndarray, y: np.ndarray, keep: np.ndarray) -> Rows:
        return Rows(values[keep], y[keep], np.full(int(keep.sum()), group))

    combs = comb_tracks(features.lines, estimate_mains(features.lines))
    segments = segment_textures(features, combs)
    times_s = features.onsets.column("time_s")
    parts = {
        "textures": rows(
            texture_inputs(features, segments), *_texture_targets(segments.starts_s, spans, recipe.textures)
        ),
        "onsets": rows(stroke_inputs(features), *_onset_targets(times_s, spans, recipe.onsets)),
    }
    if recipe.starts is not None:
        starts = find_starts(features)
        parts["starts"] = rows(starts.values, *_start_targets(starts.times_s, spans, recipe.starts))
    return parts


def _texture_targets(
    starts_s: np.ndarray, spans: Sequence[Span], recipe: HeadRecipe
) -> tuple[np.ndarray, np.ndarray]:
    y = np.zeros((len(starts_s), len(recipe.labels)), np.int8)
    keep = np.ones(len(starts_s), bool)
    for span in spans:
        if span.sound not in recipe.labels:
            continue
        share = (
            np.minimum(starts_s + SEGMENT_S, span.offset_s) - np.maximum(starts_s, span.onset_s)
        ) / SEGMENT_S
        # A short sound fills its segment when most of it lies inside.
        share = share / min(1.0, max(0.15, (span.offset_s - span.onset_s) / SEGMENT_S))
        present = share >= recipe.present_share
        if span.snr_db < recipe.inaudible_db and not span.unsure:
            continue
        if span.snr_db >= recipe.least_snr_db and not span.unsure:
            y[present, recipe.labels.index(span.sound)] = 1
            keep &= ~((share > recipe.absent_share) & ~present)
        else:
            keep &= share <= recipe.absent_share
    return y, keep


def _onset_targets(
    times_s: np.ndarray, spans: Sequence[Span], recipe: HeadRecipe
) -> tuple[np.ndarray, np.ndarray]:
    y = np.zeros((len(times_s), len(recipe.labels)), np.int8)
    keep = np.ones(len(times_s), bool)
    taken = np.zeros(len(times_s), bool)
    # In order of strength: a click inside a sentence is a click.
    for sound, label in (("click", "click"), ("thump", "thump"), ("bang", "bang"), ("bang", "thump"), ("click_train", "click"),
                         ("drip", "drip"), ("clatter", "clatter"), ("speech", "speech")):  # fmt: skip
        for span in spans:
            if span.sound != sound or label not in recipe.labels:
                continue
            late = recipe.match_s if sound in ("click", "thump", "bang") else span.offset_s - span.onset_s
            near = (times_s >= span.onset_s - recipe.match_s) & (times_s <= span.onset_s + late) & ~taken
            if span.unsure or span.snr_db < recipe.least_snr_db:
                keep[near] = False
            y[near, recipe.labels.index(label)] = 1
            taken |= near
    y[~taken, recipe.labels.index("other")] = 1
    return y, keep


#: A noise begins in the cell of its start or next to it, s; later starts within the second are its own unrest.
_BEGINS_S, _UNREST_S = (-0.10, 0.14), 1.0


def _start_targets(
    times_s: np.ndarray, spans: Sequence[Span], recipe: HeadRecipe
) -> tuple[np.ndarray, np.ndarray]:
    y = np.zeros((len(times_s), len(recipe.labels)), np.int8)
    keep = np.ones(len(times_s), bool)
    for span in spans:
        if span.sound not in recipe.labels or (span.snr_db < recipe.inaudible_db and not span.unsure):
            continue
        late_s = span.onset_s - times_s
        begins = (late_s >= _BEGINS_S[0]) & (late_s <= _BEGINS_S[1])
        if span.snr_db >= recipe.least_snr_db and not span.unsure:
            y[begins, recipe.labels.index(span.sound)] = 1
            keep &= begins | ~((times_s > span.onset_s) & (times_s < span.onset_s + _UNREST_S))
        else:
            keep &= ~begins
    # What one noise leaves out, the clear beginning of another keeps.
    return y, keep | y.any(axis=1)
