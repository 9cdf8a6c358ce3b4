"""Several training runs as one model, and what one word's calibration is moved to."""

from itertools import pairwise

import numpy as np
import pytest

from listen.ear.bundle import Head
from listen.learn.labelled import Rows
from tests.measure.calibrate import averaged, calibrated, fitted, moved

WORDS = ("hiss", "boil")


def head(seed, hidden=5, features=4):
    rng = np.random.default_rng(seed)
    sizes = [features, hidden, len(WORDS)]
    return Head(
        WORDS, rng.normal(size=features), rng.uniform(0.5, 2.0, features),
        tuple(rng.normal(size=pair) for pair in pairwise(sizes)), tuple(rng.normal(size=n) for n in sizes[1:]),
        rng.uniform(0.5, 2.0, 2), rng.normal(size=2),
    )  # fmt: skip


def logits(of, x):
    return of.logits(x) * of.slope + of.offset


@pytest.mark.parametrize("hidden", [(5, 5), (5, 9)])
def test_runs_that_standardise_differently_average_to_their_mean_logits(hidden):
    heads = [head(n, size) for n, size in enumerate(hidden)]
    x = np.random.default_rng(9).normal(size=(30, 4))
    expected = np.mean([logits(h, x) for h in heads], axis=0)
    np.testing.assert_allclose(logits(averaged(heads), x), expected, atol=1e-9)


def test_a_fit_finds_the_slope_and_offset_that_the_answers_have():
    rng = np.random.default_rng(1)
    z = rng.normal(0, 2, 40_000)
    yes = rng.random(len(z)) < 1 / (1 + np.exp(-(1.8 * z - 0.7)))
    slope, offset = fitted([z[:30_000], z[30_000:]], [yes[:30_000], yes[30_000:]], [1.0, 0.5])
    assert slope == pytest.approx(1.8, abs=0.1) and offset == pytest.approx(-0.7, abs=0.1)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_word_is_moved_by_its_share_and_no_other_word_is(share):
    before = head(3)
    after = moved(before, "boil", 4.0, 1.0, share)
    assert after.slope[1] == pytest.approx(before.slope[1] * 4.0**share)
    assert after.offset[1] == pytest.approx(before.offset[1] + share * (3.0 * before.offset[1] + 1.0))
    assert (after.slope[0], after.offset[0]) == (before.slope[0], before.offset[0])


def test_a_word_that_the_second_generator_hardly_has_stays_as_it_is(capsys):
    rng = np.random.default_rng(4)

    def scenes(n, words):
        y = np.zeros((20, 2))
        y[:10, words] = 1.0
        return [Rows(rng.normal(size=(20, 4)), y, np.full(20, k)) for k in range(n)]

    before = head(5)
    sets = {"first": scenes(6, [0, 1]), "second": scenes(6, [0]), "mixed": []}
    after = calibrated(before, sets, {"hiss": 1.0, "boil": 1.0})
    assert after.slope[0] != before.slope[0] and after.slope[1] == before.slope[1]
    assert "boil: only 0 scenes" in capsys.readouterr().out
