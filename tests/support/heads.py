"""Small hand-made model parts, so that tests of the ear know what the model says."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from listen.ear.bundle import Bundle, Head
from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS
from listen.types import ModelInfo

ONSET_LABELS = ("click", "thump", "bang", "clatter", "drip", "speech", "other")
NO = -6.0


def logit_of(probability: float) -> float:
    """Log odds of a probability."""
    return float(np.log(probability / (1.0 - probability)))


def linear_head(names: tuple[str, ...], rules: Mapping[str, tuple[str, float, float]]) -> Head:
    """Label → (feature, threshold, slope): the logit is slope · (feature − threshold).

    With a slope of 0 the logit is `threshold` itself, whatever is heard.
    """
    weight, bias = np.zeros((len(names), len(rules))), np.zeros(len(rules))
    for column, (feature, threshold, slope) in enumerate(rules.values()):
        if slope == 0.0:
            bias[column] = threshold
            continue
        weight[names.index(feature), column] = slope
        bias[column] = -slope * threshold
    f, n = len(names), len(rules)
    return Head(tuple(rules), np.zeros(f), np.ones(f), (weight,), (bias,), np.ones(n), np.zeros(n))


def onset_head(**logits: float) -> Head:
    """A part for onsets that gives every onset the same logits, by label (NO where none is named)."""
    return linear_head(STROKE_INPUTS, {label: ("", logits.get(label, NO), 0.0) for label in ONSET_LABELS})


def texture_head(**rules: tuple[str, float, float]) -> Head:
    """A part for textures from rules; without any it hears nothing."""
    return linear_head(TEXTURE_INPUTS, rules or {"hiss": ("", NO, 0.0)})


def bundle_of(textures: Head | None = None, onsets: Head | None = None) -> Bundle:
    heads = {"textures": textures or texture_head(), "onsets": onsets or onset_head(click=3.0)}
    return Bundle(ModelInfo("test", "nothing: hand-made for a test", "0" * 64), heads)
