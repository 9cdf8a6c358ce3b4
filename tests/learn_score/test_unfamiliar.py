"""Unfamiliar: what no event covers counts by how loud it is."""

import numpy as np
import pytest

from tests.measure.unfamiliar import area, unfamiliar

LEVEL = np.r_[np.full(50, -60.0), np.full(50, -20.0)]


def test_a_covered_and_sure_sound_is_known():
    assert unfamiliar(LEVEL, LEVEL > -40, 1.0) == 0.0


def test_a_loud_sound_that_nothing_names_is_unknown():
    assert unfamiliar(LEVEL, np.zeros(100, bool), 0.0) == 1.0


def test_silence_that_nothing_covers_does_not_count():
    assert unfamiliar(LEVEL, LEVEL > -40, 0.8) == pytest.approx(0.1)


def test_area_is_one_when_all_unknown_score_higher():
    known = np.array([True] * 10 + [False] * 10)
    mean, low, high = area(known, np.arange(20.0), np.arange(20))
    assert mean == low == high == 1.0
