"""Going on from a fitted model: a shop's sounds are learnt, what was known stays."""

from dataclasses import replace

import numpy as np
import pytest

from listen.ear.bundle import Head
from listen.learn.adapt import adapted, folded, pull_of
from listen.learn.labelled import Rows
from listen.learn.recipe import load_recipe
from listen.resources import shipped

LABELS = ("hiss", "blast")


@pytest.fixture(scope="module")
def recipe():
    recipe = load_recipe(shipped("models") / "recipe.toml")
    return replace(recipe, textures=replace(recipe.textures, labels=LABELS, alpha=1e-3))


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


def test_a_shops_sound_is_learnt_and_the_rest_stays(recipe):
    rng = np.random.default_rng(2)
    x = rng.normal(0, 2, (2000, 3))
    x[:, 2] = rng.normal(0, 0.3, 2000)
    scenes = rows(x, (x[:, :2] > 0.5).astype(int))
    # This shop's hiss is high in the third measure alone: the model knows nothing of that.
    own = rng.normal(0, 0.3, (40, 3)) + np.array([-1.0, -1.0, 4.0])
    new = rng.normal(0, 0.3, (40, 3)) + np.array([-1.0, -1.0, 4.0])
    before = head()
    made = adapted(
        {"textures": before},
        {"textures": rows(own, [[1, 0]] * 40)},
        {"textures": scenes},
        recipe,
        passes=10,
        step=1e-2,
    )
    after = made["textures"]
    assert before.probabilities(new)[:, 0].max() < 0.2 < 0.8 < after.probabilities(new)[:, 0].min()
    agree = (after.probabilities(x) > 0.5) == (scenes.y > 0)
    was = (before.probabilities(x) > 0.5) == (scenes.y > 0)
    assert agree.mean() > was.mean() - 0.01
    # What is handed in stays as it was.
    assert np.array_equal(before.weights[0], head().weights[0])


def test_a_part_without_rows_stays_and_other_words_are_refused(recipe):
    scenes = {"textures": rows(np.zeros((9, 3)), np.zeros((9, 2)))}
    none = rows(np.zeros((0, 3)), np.zeros((0, 2)))
    kept = head()
    assert adapted({"textures": kept}, {"textures": none}, scenes, recipe)["textures"] is kept
    assert adapted({"textures": kept}, {}, scenes, recipe)["textures"] is kept
    other = replace(kept, labels=("hiss", "boil"))
    with pytest.raises(ValueError, match="not those of the recipe"):
        adapted({"textures": other}, scenes, scenes, recipe)


def test_few_clips_go_a_part_of_the_way(recipe):
    rng = np.random.default_rng(3)
    x = rng.normal(0, 2, (600, 3))
    scenes = {"textures": rows(x, (x[:, :2] > 0.5).astype(int))}
    own = {"textures": rows(rng.normal(0, 0.3, (40, 3)) + 3.0, [[1, 0]] * 40)}
    begin, whole, third, none = (
        folded(head())
        if pull is None
        else adapted({"textures": head()}, own, scenes, recipe, pull=pull)["textures"]
        for pull in (None, 1.0, pull_of(20), 0.0)
    )
    for before, all_of_it, part, kept in zip(
        begin.weights, whole.weights, third.weights, none.weights, strict=True
    ):
        assert np.allclose(part - before, (all_of_it - before) / 3.0, atol=1e-9) and np.array_equal(
            kept, before
        )
    assert [pull_of(n) for n in (0, 40)] == [0.0, 0.5]
