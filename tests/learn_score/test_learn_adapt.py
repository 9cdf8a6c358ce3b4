"""Going on from a fitted model: a shop's sounds are learnt, what was known stays."""

import numpy as np
import pytest

from listen.ear.bundle import Head
from listen.learn.adapt import adapted, folded, part_way, pull_of
from listen.learn.labelled import Rows

LABELS = ("hiss", "blast")


def head():
    """Hiss where the first measure is high, blast where the second is; calibrated by hand."""
    rng = np.random.default_rng(0)
    first = np.concatenate([np.eye(3), -np.eye(3), rng.normal(0, 0.1, (3, 6))], axis=1)
    last = np.zeros((12, 2))
    last[[0, 3], 0], last[[1, 4], 1] = (2.0, -2.0), (2.0, -2.0)
    return Head(
        LABELS, np.zeros(3), np.ones(3), (first, last), (np.zeros(12), np.zeros(2)), np.array([1.5, 0.8]), np.array([-1.0, 0.3])
    )  # fmt: skip


def rows(x, y):
    return Rows(np.asarray(x, np.float32), np.asarray(y, np.int8), np.zeros(len(x), int))


def test_folding_in_the_calibration_changes_no_probability():
    x = np.random.default_rng(1).normal(0, 2, (50, 3))
    assert np.allclose(folded(head()).probabilities(x), head().probabilities(x), atol=1e-12)
    assert folded(head()).slope.tolist() == [1, 1] and folded(head()).offset.tolist() == [0, 0]


def clips_of(x, y, n):
    """The rows of n clips, each an equal part of all."""
    parts = zip(np.array_split(np.asarray(x), n), np.array_split(np.asarray(y), n), strict=True)
    return [{"textures": rows(part, targets)} for part, targets in parts]


def scenes_of(seed, n=2000):
    x = np.random.default_rng(seed).normal(0, 2, (n, 3))
    x[:, 2] /= 6.0
    return {"textures": rows(x, np.zeros((n, 2)))}


def own_hiss(seed, n=40):
    """This shop's hiss is high in the third measure alone: the model knows nothing of that."""
    return np.random.default_rng(seed).normal(0, 0.3, (n, 3)) + np.array([-1.0, -1.0, 4.0])


def test_a_shops_sound_is_learnt_and_the_rest_stays():
    scenes, before = scenes_of(2), head()
    after = adapted({"textures": before}, clips_of(own_hiss(3), [[1, 0]] * 40, 20), scenes)["textures"]
    new, x = own_hiss(4), scenes["textures"].x
    assert before.probabilities(new)[:, 0].max() < 0.2 < 0.6 < after.probabilities(new)[:, 0].min()
    # The scenes' own labels say no to everything and are not read: the model goes on saying what it said.
    moved = np.abs(after.probabilities(x) - before.probabilities(x))
    assert moved.mean() < 0.03
    agree = (after.probabilities(x) > 0.5) == (before.probabilities(x) > 0.5)
    assert agree.mean() > 0.97
    # What is handed in stays as it was, and so do the hidden layers.
    assert np.array_equal(before.weights[0], head().weights[0])
    assert np.array_equal(after.weights[0], head().weights[0])


def test_a_word_that_no_clip_holds_is_not_touched():
    before = head()
    after = adapted({"textures": before}, clips_of(own_hiss(3), [[1, 0]] * 40, 20), scenes_of(2))["textures"]
    x = np.random.default_rng(5).normal(0, 2, (200, 3))
    assert np.allclose(after.probabilities(x)[:, 1], before.probabilities(x)[:, 1], atol=1e-12)


def test_the_more_clips_hold_a_word_the_further_it_goes():
    x = own_hiss(6)
    before = head().probabilities(x)[:, 0].mean()
    found = [
        adapted({"textures": head()}, clips_of(own_hiss(3), [[1, 0]] * 40, n), scenes_of(2))["textures"]
        .probabilities(x)[:, 0].mean()
        for n in (1, 4, 20)
    ]  # fmt: skip
    assert before < found[0] < found[1] < found[2]
    assert pull_of(np.array([0, 1, 9])).tolist() == [0.0, 0.5, 0.9]


def test_a_part_without_rows_stays_and_other_words_are_refused():
    scenes, kept = scenes_of(2, 9), head()
    none = {"textures": rows(np.zeros((0, 3)), np.zeros((0, 2)))}
    for shop in ([none], [{}], []):
        assert adapted({"textures": kept}, shop, scenes)["textures"] is kept
    three = {"textures": rows(np.zeros((9, 3)), np.zeros((9, 3)))}
    with pytest.raises(ValueError, match="not those of the rows"):
        adapted({"textures": kept}, [three], scenes)


def test_a_part_of_the_way_lies_between():
    begin = {"textures": head(), "starts": head()}
    fitted = adapted(begin, clips_of(own_hiss(3), [[1, 0]] * 40, 20), scenes_of(2))
    x = own_hiss(7)

    def logits(heads):
        return folded(heads["textures"]).logits(x)

    half = part_way(begin, fitted, 0.5)
    assert np.allclose(logits(half), (logits(begin) + logits(fitted)) / 2, atol=1e-9)
    assert np.allclose(logits(part_way(begin, fitted, 0.0)), logits(begin), atol=1e-9)
    # What was not adapted is the very same.
    assert half["starts"] is begin["starts"]
