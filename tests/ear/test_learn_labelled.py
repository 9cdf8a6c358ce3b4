"""Labelled clips to training rows: what counts as yes, as no, and what is left out."""

from dataclasses import replace

import numpy as np
import pytest

from listen.ear.bundle import load_bundle
from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS
from listen.features.starts import START_NAMES
from listen.features.textures import SEGMENT_S
from listen.learn.fit import as_head, calibrated, fit_network
from listen.learn.labelled import (
    LabelledClip,
    Rows,
    Span,
    _onset_targets,
    _start_targets,
    _texture_targets,
    rows_of,
)
from listen.learn.recipe import HeadRecipe, Recipe
from listen.learn.train import stack, stack_parts, train_model
from tests.support.signals import RATE_HZ, band_noise, click, noise, put, within

TEXTURES = HeadRecipe(
    ("hiss", "burst", "speech"), (6,), 0.02, 20, least_snr_db=3.0, present_share=0.5, absent_share=0.1
)
ONSETS = HeadRecipe(("click", "thump", "speech", "other"), (6,), 0.02, 20, least_snr_db=3.0, match_s=0.03)
RECIPE = Recipe(
    version="t", seed=5, scenes_per_family=1, no_machine_scenes=1, long_families=(), long_scenes=0,
    single_scenes=1,
    textures=TEXTURES, onsets=ONSETS,
)  # fmt: skip
STARTS = HeadRecipe(("hiss", "burst"), (6,), 0.02, 20, least_snr_db=3.0)
STARTS_S = np.arange(0.0, 8.0, 0.256)


def shares(onset_s, offset_s):
    return (np.minimum(STARTS_S + SEGMENT_S, offset_s) - np.maximum(STARTS_S, onset_s)) / SEGMENT_S


def test_segments_that_a_sound_fills_are_yes_and_its_edges_are_left_out():
    y, keep = _texture_targets(STARTS_S, [Span("hiss", 2.0, 6.0)], TEXTURES)
    share = shares(2.0, 6.0)
    np.testing.assert_array_equal(y[:, 0] == 1, share >= 0.5)
    np.testing.assert_array_equal(keep, (share >= 0.5) | (share <= 0.1))
    assert y[:, 1:].sum() == 0 and 0 < keep.sum() < len(keep)


def test_a_short_sound_counts_where_most_of_it_lies():
    y, keep = _texture_targets(STARTS_S, [Span("burst", 3.0, 3.4)], TEXTURES)
    whole = (STARTS_S <= 3.0) & (STARTS_S + SEGMENT_S >= 3.4)
    assert whole.any() and (y[whole, 1] == 1).all() and keep[whole].all()
    assert (y[STARTS_S > 3.4, 1] == 0).all()


def test_a_faint_sound_is_neither_yes_nor_no():
    y, keep = _texture_targets(STARTS_S, [Span("hiss", 2.0, 6.0, snr_db=1.0)], TEXTURES)
    assert y.sum() == 0
    np.testing.assert_array_equal(keep, shares(2.0, 6.0) <= 0.1)


def test_several_at_once_are_several():
    y, _ = _texture_targets(STARTS_S, [Span("hiss", 1.0, 7.0), Span("speech", 3.0, 7.0)], TEXTURES)
    assert (y[:, [0, 2]].sum(axis=1) == 2).any()


def test_words_that_are_not_asked_for_are_no():
    y, keep = _texture_targets(STARTS_S, [Span("gravel", 1.0, 7.0)], TEXTURES)
    assert y.sum() == 0 and keep.all()


def onset_words(times_s, spans, recipe=ONSETS):
    y, keep = _onset_targets(np.array(times_s), spans, recipe)
    assert (y.sum(axis=1) == 1).all()
    return [recipe.labels[i] for i in y.argmax(axis=1)], keep


def test_onsets_near_a_click_are_clicks():
    words, keep = onset_words([0.9, 0.98, 1.0, 1.029, 1.04], [Span("click", 1.0, 1.02)])
    assert words == ["other", "click", "click", "click", "other"] and keep.all()


def test_a_click_inside_a_sentence_is_a_click():
    spans = [Span("speech", 0.5, 2.0), Span("click", 1.0, 1.02)]
    assert onset_words([0.6, 1.001, 1.5, 2.5], spans)[0] == ["speech", "click", "speech", "other"]


def test_clicks_of_a_train_are_clicks_and_a_bang_is_one_where_there_is_the_word():
    spans = [Span("click_train", 1.0, 2.0), Span("bang", 3.0, 3.2)]
    assert onset_words([1.0, 1.5, 1.99, 3.01], spans)[0] == ["click", "click", "click", "thump"]
    knows = HeadRecipe(("click", "thump", "bang", "other"), (6,), 0.02, 20, least_snr_db=3.0, match_s=0.03)
    assert onset_words([3.01], spans, knows)[0] == ["bang"]


def test_faint_clicks_are_left_out():
    words, keep = onset_words(
        [1.0, 2.0], [Span("click", 1.0, 1.02, snr_db=0.0), Span("click", 2.0, 2.02, snr_db=20.0)]
    )
    assert keep.tolist() == [False, True] and words[1] == "click"


def test_onsets_of_sounds_without_a_word_are_other():
    recipe = HeadRecipe(("click", "other"), (4,), 0.02, 5, least_snr_db=3.0)
    assert onset_words([1.0], [Span("thump", 1.0, 1.1)], recipe)[0] == ["other"]


def clip(group):
    """A hiss and a click at places that hang on the group."""
    on_s, click_s = 2.0 + 0.3 * (group % 4), 6.5 + 0.2 * (group % 3)
    samples = noise(8.0, 0.001, group) + within(
        band_noise(8.0, 0.03, 50 + group, 3000, 14_000), on_s, on_s + 3.0
    )
    samples = put(samples, click(0.2, group), click_s)
    spans = [Span("hiss", on_s, on_s + 3.0, 40.0), Span("click", click_s, click_s + 0.02, 40.0)]
    return LabelledClip(samples.astype(np.float32), RATE_HZ, spans, group)


def test_rows_of_a_clip():
    rows = rows_of(clip(3), RECIPE)
    textures, onsets = rows["textures"], rows["onsets"]
    assert set(rows) == {"textures", "onsets"}
    assert textures.x.shape == (len(textures.y), len(TEXTURE_INPUTS)) and textures.y.shape[1] == 3
    assert onsets.x.shape == (len(onsets.y), len(STROKE_INPUTS)) and onsets.y.shape[1] == 4
    assert set(textures.group) == set(onsets.group) == {3}
    # In segments of a hiss the treble stands higher than in those without.
    rise = textures.x[:, TEXTURE_INPUTS.index("rise_5k_8k_db")]
    yes = textures.y[:, 0] == 1
    assert yes.any() and rise[yes].min() > rise[~yes].max()
    assert onsets.y[:, 0].sum() == 1


def test_a_noise_is_named_where_it_begins_and_its_own_unrest_is_left_out():
    times_s = np.array([1.0, 1.95, 2.05, 2.5, 3.5, 6.5])
    y, keep = _start_targets(times_s, [Span("hiss", 2.0, 6.0)], STARTS)
    assert y[:, 0].tolist() == [0, 1, 1, 0, 0, 0] and y[:, 1].sum() == 0
    assert keep.tolist() == [True, True, True, False, True, True]


def test_a_beginning_that_is_faint_or_unsure_is_neither_yes_nor_no():
    for span in (Span("hiss", 2.0, 6.0, snr_db=1.0), Span("hiss", 2.0, 6.0, unsure=True)):
        y, keep = _start_targets(np.array([1.0, 2.0, 3.0]), [span], STARTS)
        assert y.sum() == 0 and keep.tolist() == [True, False, True]
    y, keep = _start_targets(np.array([2.0]), [Span("hiss", 2.0, 6.0, snr_db=-20.0)], STARTS)
    assert y.sum() == 0 and keep.all()


def test_the_beginning_of_one_noise_counts_within_the_unrest_of_another():
    y, keep = _start_targets(np.array([2.5]), [Span("hiss", 2.0, 6.0), Span("burst", 2.5, 2.9)], STARTS)
    assert y.tolist() == [[0, 1]] and keep.all()


def test_a_recipe_with_starts_gives_their_rows():
    with_starts = replace(RECIPE, starts=STARTS)
    rows = rows_of(clip(3), with_starts)["starts"]
    assert rows.x.shape == (len(rows.y), len(START_NAMES)) and rows.y[:, 0].sum() == 1
    both = stack_parts([rows_of(clip(3), with_starts), rows_of(clip(4), with_starts)])
    assert set(both) == {"textures", "onsets", "starts"} and set(both["starts"].group) == {3, 4}


def test_stack_keeps_groups():
    one, two = (
        Rows(np.zeros((2, 3)), np.zeros((2, 1)), np.array([1, 1])),
        Rows(np.ones((1, 3)), np.ones((1, 1)), np.array([2])),
    )
    both = stack([one, two])
    assert (
        both.x.shape == (3, 3) and both.group.tolist() == [1, 1, 2] and both.y.ravel().tolist() == [0, 0, 1]
    )


@pytest.fixture(scope="module")
def both_rows():
    """Rows of nine clips, each several times over: enough for a training step."""
    parts = [rows_of(clip(group), RECIPE) for group in range(9)]
    return {
        "textures": stack(p["textures"] for p in parts * 4),
        "onsets": stack(p["onsets"] for p in parts * 40),
    }


def test_training_learns_what_it_was_shown(tmp_path, both_rows):
    said = []
    folder = train_model(
        both_rows, RECIPE, tmp_path / "ear", trained_on="Nine synthesised clips.", echo=said.append
    )
    assert len(said) == 2 and "textures:" in said[0] and "from 9 clips" in said[0]
    bundle = load_bundle(folder)
    assert bundle.info.version == "t"
    fresh = rows_of(clip(11), RECIPE)["textures"]
    p = bundle.heads["textures"].probabilities(fresh.x)[:, 0]
    yes = fresh.y[:, 0] == 1
    assert np.mean(p[yes] > 0.5) > 0.9 and np.mean(p[~yes] < 0.5) > 0.9
    # The same rows and recipe give the same model, byte for byte.
    again = train_model(
        both_rows, RECIPE, tmp_path / "again", trained_on="Nine synthesised clips.", echo=lambda line: None
    )
    assert (again / "arrays.npz").read_bytes() == (folder / "arrays.npz").read_bytes()
    assert (again / "manifest.json").read_bytes() == (folder / "manifest.json").read_bytes()


@pytest.mark.parametrize("part", ["textures", "onsets"])
def test_a_label_that_never_occurs_is_left_uncalibrated(part, both_rows):
    rows = both_rows[part]
    recipe = getattr(RECIPE, part)
    head = calibrated(as_head(*fit_network(rows, recipe, 1), recipe.labels), rows, recipe, 1)
    never = [i for i in range(rows.y.shape[1]) if rows.y[:, i].min() == rows.y[:, i].max()]
    assert never
    for column in never:
        assert (head.slope[column], head.offset[column]) == (1.0, 0.0)
