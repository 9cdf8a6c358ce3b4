"""Brier skill and calibration slope against scikit-learn, and on answers whose truth is drawn."""

import numpy as np
import pytest

from listen.learn.score import load_rules, score_set
from listen.learn.score.calibration import brier_skill, calibration_slope, is_right
from listen.learn.score.unfamiliar import NOT_MEASURED, area, score_unfamiliar
from tests.learn_score.made import clip, event, heard, label

RULES = load_rules()


def drawn(seed, n=400, sharpen=1.0):
    """Probabilities and outcomes whose true slope is `sharpen`."""
    rng = np.random.default_rng(seed)
    logit = rng.normal(0, 1.5, n)
    right = rng.random(n) < 1 / (1 + np.exp(-sharpen * logit))
    return 1 / (1 + np.exp(-logit)), right


@pytest.mark.parametrize("seed", range(4))
def test_brier_skill_from_scikit_learns_score(seed):
    from sklearn.metrics import brier_score_loss

    p, right = drawn(seed)
    reference = brier_score_loss(right, np.full(len(p), right.mean()))
    assert brier_skill(p, right) == pytest.approx(1 - brier_score_loss(right, p) / reference, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_slope_as_scikit_learn_fits_it(seed):
    from sklearn.linear_model import LogisticRegression

    p, right = drawn(seed, sharpen=0.6)
    fitted = LogisticRegression(C=1e10, tol=1e-10, max_iter=1000).fit(np.log(p / (1 - p))[:, None], right)
    intercept, slope = calibration_slope(np.clip(p, 1e-3, 1 - 1e-3), right)
    clipped = np.clip(p, 1e-3, 1 - 1e-3)
    if np.array_equal(clipped, p):
        assert slope == pytest.approx(float(fitted.coef_[0, 0]), abs=1e-4)
        assert intercept == pytest.approx(float(fitted.intercept_[0]), abs=1e-4)
    else:
        assert slope == pytest.approx(float(fitted.coef_[0, 0]), rel=0.05)


def test_slope_recovers_what_was_drawn():
    for true in (0.5, 1.0, 2.0):
        p, right = drawn(7, n=20_000, sharpen=true)
        assert calibration_slope(p, right)[1] == pytest.approx(true, rel=0.08)


def test_weights_count_as_repetition():
    p, right = drawn(5, n=60)
    times = np.random.default_rng(1).integers(0, 4, 60)
    again = np.repeat(p, times), np.repeat(right, times)
    assert calibration_slope(p, right, times)[1] == pytest.approx(calibration_slope(*again)[1], abs=1e-8)
    assert brier_skill(p, right, times) == pytest.approx(brier_skill(*again), abs=1e-12)


def test_what_cannot_be_fitted_has_no_slope():
    separable = np.array([0.1, 0.2, 0.8, 0.9]), np.array([False, False, True, True])
    assert np.isnan(calibration_slope(*separable)[1])
    assert np.isnan(calibration_slope(np.full(4, 0.7), separable[1])[1])
    assert np.isnan(brier_skill(np.full(3, 0.7), np.ones(3, bool)))


def test_right_means_that_the_sound_is_there_wherever_its_edges_lie():
    pair = (
        clip([label("hiss", 1.0, 9.0), label("click", 12.0, 12.01), label("boil", 1, 5, snr_db=2)]),
        heard(),
    )
    assert is_right(event("hiss", 3.0, 5.0), pair, RULES) is True
    assert is_right(event("hiss", 8.0, 12.0), pair, RULES) is False
    assert is_right(event("click", 12.04, 12.05), pair, RULES) is True
    assert is_right(event("click", 12.2, 12.3), pair, RULES) is False
    assert is_right(event("boil", 1, 5), pair, RULES) is None


def test_each_family_has_its_own_figures():
    rng = np.random.default_rng(2)
    pairs = []
    for n in range(60):
        sure = float(rng.uniform(0.05, 0.95))
        there = bool(rng.random() < sure)
        pairs.append(
            (clip([label("hiss", 1, 4)] if there else [], name=f"c{n}"), heard([event("hiss", 1, 4, sure)]))
        )
    result = score_set(pairs, about="x")["calibration"]
    noise = result["noise"]
    assert noise["events"] == 60 and sum(b["n"] for b in noise["reliability"]) == 60
    assert noise["slope"]["low"] < 1 < noise["slope"]["high"]
    assert noise["brier_skill"]["value"] > 0.1
    assert "slope" not in result["tonal"] and "fewer than" in result["tonal"]["not_given"]


def test_unfamiliar_is_not_measured_until_the_ear_gives_a_score():
    assert score_unfamiliar(None, None, resamples=10, seed=1) == NOT_MEASURED
    assert score_set([(clip(), heard())], about="x")["unfamiliar"] == NOT_MEASURED


def test_area_as_scikit_learn_has_it():
    from sklearn.metrics import roc_auc_score

    rng = np.random.default_rng(3)
    known, unknown = np.round(rng.normal(0, 1, 80), 1), np.round(rng.normal(1, 1, 50), 1)
    both = np.r_[known, unknown]
    theirs = roc_auc_score(np.r_[np.zeros(80), np.ones(50)], both)
    assert area(known, unknown) == pytest.approx(theirs, abs=1e-12)
    given = score_unfamiliar(known.tolist(), unknown.tolist(), resamples=200, seed=1)
    assert given["area"]["low"] < theirs < given["area"]["high"] and (given["known"], given["unknown"]) == (
        80,
        50,
    )
