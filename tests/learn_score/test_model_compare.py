"""The comparison of models: no clip on both sides of a fold, rare labels left out, a known winner found."""

import numpy as np
import pytest

from listen.features.around import TEXTURE_INPUTS
from listen.learn.labelled import Rows
from tests.measure.model_compare import GROUPS, MODELS, NAMES, folds, precision, scored_labels, thin


@pytest.fixture
def rows():
    rng = np.random.default_rng(4)
    group = np.repeat(np.arange(40), 10)
    y = (rng.random((400, 3)) < [0.5, 0.4, 0.0]).astype(np.int8)
    x = rng.normal(size=(400, 5))
    x[:, 0] += 3 * y[:, 0]
    x[:, 1] += 3 * y[:, 1]
    return Rows(x, y, group)


def test_no_clip_is_fitted_and_scored(rows):
    held = []
    for fit, scored in folds(rows):
        assert not set(rows.group[fit]) & set(rows.group[scored])
        held += scored.tolist()
    assert sorted(held) == list(range(400))


def test_labels_that_few_clips_hold_are_left_out(rows):
    assert scored_labels(rows) == [0, 1]


def test_a_measure_that_tells_is_missed_when_left_out(rows):
    whole, error = precision(rows, MODELS["logistic"])
    assert whole > 0.9 and error < 0.05
    assert precision(rows, MODELS["logistic"], np.array([2, 3, 4]))[0] < 0.7


def test_thinning_keeps_whole_clips(rows):
    fewer = thin(rows, 150)
    assert 100 <= len(fewer.x) <= 150
    assert all((fewer.group == g).sum() == 10 for g in np.unique(fewer.group))


@pytest.mark.parametrize("part", list(NAMES))
def test_every_group_names_measures_that_exist(part):
    for starts in GROUPS[part].values():
        assert any(name.startswith(starts) for name in NAMES[part])
    assert NAMES["textures"] == TEXTURE_INPUTS
