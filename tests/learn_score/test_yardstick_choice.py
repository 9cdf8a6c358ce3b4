"""The ten-class yardstick: no choice and no model sees the fold that it is scored on."""

import numpy as np
import pytest

from tests.measure.clips import RealClip, clips_folder, real_clips
from tests.measure.yardstick import by_recording, check_parts
from tests.measure.yardstick_choice import choose, inner_answers, left_out_sets, nested
from tests.measure.yardstick_features import describe, without_silence
from tests.measure.yardstick_models import Candidate, Described, answers

FOLDS = np.repeat([1, 2, 3, 4, 5], 12)
LABELS = np.tile(np.repeat([0, 1, 2], 4), 5)
SHARP = (0.2, 3.0, 1.0, 0.0)


def made_answers(rng):
    """Four candidates of different skill for every set of folds left out; NaN where they were trained."""
    by_set = {}
    for left_out in left_out_sets(FOLDS):
        out = np.array([s * np.eye(3)[LABELS] for s in SHARP]) + rng.normal(
            0, 0.8, (len(SHARP), len(FOLDS), 3)
        )
        out[:, ~np.isin(FOLDS, list(left_out))] = np.nan
        by_set[left_out] = out
    return by_set


def test_the_best_candidate_is_chosen_and_scored_as_it_answers():
    by_set = made_answers(np.random.default_rng(1))
    said, choices = nested(by_set, LABELS, FOLDS, mixes=(1,))
    assert {choice.places for choice in choices.values()} == {(1,)}
    plain = np.concatenate([by_set[frozenset({f})][1, f == FOLDS].argmax(axis=1) for f in range(1, 6)])
    np.testing.assert_array_equal(said, plain)
    assert np.mean(said == LABELS) > 0.9


@pytest.mark.parametrize("outer", [1, 5])
def test_a_choice_does_not_read_the_outer_fold(outer):
    by_set = made_answers(np.random.default_rng(2))
    before = choose(inner_answers(by_set, FOLDS, outer), LABELS, FOLDS, outer)
    here = outer == FOLDS
    labels = np.where(here, (LABELS + 1) % 3, LABELS)
    for answer in by_set.values():
        answer[:, here] = np.roll(answer[:, here], 1, axis=2) * 50.0
    assert choose(inner_answers(by_set, FOLDS, outer), labels, FOLDS, outer) == before


def test_inner_answers_come_from_models_without_both_folds():
    by_set = {s: np.full((1, len(FOLDS), 3), float(sum(10**f for f in s))) for s in left_out_sets(FOLDS)}
    inner = inner_answers(by_set, FOLDS, 2)
    assert np.isnan(inner[:, FOLDS == 2]).all()
    for fold in (1, 3, 4, 5):
        assert (inner[:, fold == FOLDS] == 10**2 + 10**fold).all()


def test_a_model_takes_nothing_from_clips_it_was_not_given():
    rng = np.random.default_rng(3)
    shift = LABELS[:, None, None] * 1.5
    names = ("textures", "cells", "onsets", "mel", "mfcc", "tonal", "modulation", "covariance")
    groups = {name: (rng.normal(size=(len(FOLDS), 2, 12)) + shift).astype(np.float32) for name in names}
    owner = np.repeat(np.arange(2 * len(FOLDS)), 12)
    patches = rng.normal(size=(len(owner), 96)).astype(np.float16)
    train = FOLDS > 2
    asked = (Candidate("svm", "all", 3.0), Candidate("logistic", "own+codebook", 0.1))

    def ask():
        return answers(Described(groups, patches, owner, LABELS, FOLDS), train, asked, seed=0)

    before = ask()
    assert np.isnan(before[:, train]).all()
    right = before[:, ~train].argmax(axis=2) == LABELS[~train]
    assert right.mean() > 0.8
    changed = FOLDS == 1
    for values in groups.values():
        values[changed] = rng.normal(size=values[changed].shape) * 9
    patches[changed[owner // 2]] = 7.0
    after = ask()
    np.testing.assert_allclose(after[:, FOLDS == 2], before[:, FOLDS == 2], atol=1e-5)
    assert np.abs(after[:, changed] - before[:, changed]).max() > 0.1


def test_a_recording_in_two_folds_is_refused(tmp_path):
    clips = [
        RealClip(tmp_path, "env_rain", "", f"env{f}", r, None) for f, r in ((1, "a"), (2, "b"), (3, "a"))
    ]
    check_parts(clips[:2])
    with pytest.raises(ValueError, match=r"more than one fold: a\."):
        check_parts(clips)


def test_the_published_folds_part_no_recording():
    folder = clips_folder()
    if folder is None:
        pytest.skip("set LISTEN_CLIPS")
    clips = [clip for clip in real_clips(folder) if clip.kind.startswith("env_")]
    check_parts(clips)
    assert len(clips) == 400
    for fold in range(1, 6):
        assert sum(clip.fold == f"env{fold}" for clip in clips) == 80


def test_an_interval_by_recordings_is_wider_when_clips_go_together():
    hits = np.repeat([1, 1, 1, 1, 0], 20)
    alone = by_recording(hits, [str(i) for i in range(100)])
    together = by_recording(hits, [str(i // 20) for i in range(100)])
    assert together[0] < alone[0] < 0.8 < alone[1] < together[1]


def test_padding_is_taken_out_and_tells_nothing():
    rng = np.random.default_rng(4)
    sound = rng.normal(0, 0.1, 32_000).astype(np.float32)
    padded = np.concatenate([np.zeros(16_000, np.float32), sound, np.zeros(48_000, np.float32)])
    np.testing.assert_array_equal(without_silence(padded), sound)
    # A gap shorter than a tenth of a second belongs to the sound.
    gap = np.concatenate([sound, np.zeros(1_600, np.float32), sound])
    assert len(without_silence(gap)) == len(gap)
    assert len(without_silence(np.zeros(3_200, np.float32))) == 3_200


def test_a_clip_is_described_in_finite_numbers_whatever_its_gain(tmp_path):
    import soundfile

    rng = np.random.default_rng(5)
    sound = rng.normal(0, 0.05, 44_100) * (np.sin(np.arange(44_100) / 1_500) > 0)
    found = []
    for name, gain in (("a.wav", 1.0), ("b.wav", 0.25)):
        soundfile.write(tmp_path / name, gain * sound, 44_100, subtype="FLOAT")
        found.append(describe(tmp_path / name, (1.0,)))
    for name, values in found[0][0].items():
        assert np.isfinite(values).all(), name
        np.testing.assert_allclose(found[1][0][name], values, atol=0.05, rtol=0.01, err_msg=name)
