"""Per-sound scores: average precision against scikit-learn, intervals, what is listed and not averaged."""

import numpy as np
import pytest

from listen.learn.score import load_rules, score_set
from listen.learn.score.events import average_precision, count_all, score_events
from listen.learn.score.intervals import effective_n, resample_weights, share, share_of, spread, wilson
from tests.learn_score.made import clip, event, heard, label, random_pairs

RULES = load_rules()


@pytest.mark.parametrize(
    "hits, n, low, high",
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_as_published(hits, n, low, high):
    """Newcombe, Statistics in Medicine 17 (1998) 857-872, table of intervals, score method (values from memory)."""
    assert wilson(hits, n) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("seed", range(5))
def test_average_precision_as_scikit_learn_has_it(seed):
    from sklearn.metrics import average_precision_score

    rng = np.random.default_rng(seed)
    probability = np.sort(np.round(rng.random(200), 2))[::-1]  # many ties
    hit = rng.random(200) < probability
    wanted = int(hit.sum()) + 7  # seven were never heard
    mine = average_precision(probability, hit, np.array([wanted]), np.ones((1, 200)))[0]
    theirs = average_precision_score(hit, probability) * hit.sum() / wanted
    assert mine == pytest.approx(theirs, abs=1e-12)


def test_weights_count_as_repetition():
    rng = np.random.default_rng(3)
    probability, hit = np.sort(rng.random(50))[::-1], rng.random(50) < 0.5
    times = rng.integers(0, 4, 50)
    repeated = average_precision(
        np.repeat(probability, times), np.repeat(hit, times), np.array([40]), np.ones((1, int(times.sum())))
    )
    weighted = average_precision(probability, hit, np.array([40]), times[None, :].astype(float))
    assert weighted == pytest.approx(repeated, abs=1e-12)


def test_average_precision_at_its_ends():
    nothing = np.zeros(0)
    assert average_precision(nothing, nothing.astype(bool), np.array([3]), np.zeros((1, 0)))[0] == 0.0
    assert np.isnan(average_precision(nothing, nothing.astype(bool), np.array([0]), np.zeros((1, 0)))[0])


def test_scores_of_a_sound():
    pairs = random_pairs("hiss", 1)
    counted = count_all(pairs, RULES)
    row = score_events(pairs, counted, RULES)["sounds"]["hiss"]
    assert row["recordings"] == 12 and row["counted"] == "span"
    p, r, f = row["precision"]["value"], row["recall"]["value"], row["f1"]
    assert f["value"] == pytest.approx(2 * p * r / (p + r), abs=2e-4)
    assert f["low"] < f["value"] < f["high"]
    assert row["touched"]["value"] >= r


def test_intervals_repeat_and_count_recordings_not_clips():
    pairs = random_pairs("hiss", 2)
    once = score_set(pairs, about="x")
    assert once == score_set(pairs, about="x")
    # The same clips, six times each, of the same recordings: no surer than before.
    again = score_set(pairs * 6, about="x")
    assert again["recordings"] == once["recordings"] == 12 and again["clips"] == 72
    assert again["sounds"]["hiss"]["f1"] == once["sounds"]["hiss"]["f1"]


def test_bootstrap_covers_the_true_share_about_as_often_as_it_says():
    rng = np.random.default_rng(4)
    covered = 0
    for trial in range(150):
        right = rng.random(60) < 0.7
        draws = resample_weights(60, 300, trial) @ right / 60
        low, high = np.percentile(draws, [2.5, 97.5])
        covered += low <= 0.7 <= high
    assert 0.88 <= covered / 150 <= 0.99


def test_share_over_alike_answers_covers_the_truth_and_the_plain_interval_does_not():
    """Recordings of ten answers whose own share varies (beta-binomial): intervals must count recordings."""
    rng = np.random.default_rng(8)
    covered = plain = 0
    for _ in range(400):
        own = rng.beta(2, 1, 30)
        hits = rng.binomial(10, own)
        row = share(hits, np.full(30, 10))
        covered += row["low"] <= 2 / 3 <= row["high"]
        low, high = wilson(int(hits.sum()), 300)
        plain += low <= 2 / 3 <= high
    assert 0.91 <= covered / 400 <= 0.99
    assert plain / 400 < 0.85


def test_share_of_one_answer_a_recording_is_wilsons():
    row = share_of([(str(n), n < 15) for n in range(148)])
    assert (row["low"], row["high"]) == pytest.approx(wilson(15, 148), abs=1e-4)
    assert (row["hits"], row["n"], row["recordings"]) == (15, 148, 148)


def test_few_or_unanimous_recordings_count_once_each():
    # Two hundred right answers of two recordings say no more than two.
    assert effective_n(np.array([100, 100]), np.array([100, 100])) == 2.0
    assert effective_n(np.full(9, 20), np.full(9, 20)) == 9.0
    assert effective_n(np.array([3, 0]), np.array([5, 0])) == 1.0
    assert share([], []) == {"value": None, "low": 0.0, "high": 1.0, "hits": 0, "n": 0, "recordings": 0}
    # All or nothing by recording: worth about as much as there are recordings.
    all_or_none = np.repeat([0, 10], 20)
    assert effective_n(all_or_none, np.full(40, 10)) == pytest.approx(39, abs=0.01)


def test_few_recordings_are_listed_and_not_averaged():
    pairs = [
        (clip([label("hiss", 1.0, 3.0)], name=f"h{n}"), heard([event("hiss", 1.0, 3.0)])) for n in range(6)
    ]
    pairs += [(clip([label("gravel", 1.0, 3.0)], name=f"g{n}"), heard()) for n in range(4)]
    result = score_set(pairs, about="x")
    assert result["too_few"] == ["gravel"]
    assert result["sounds"]["gravel"]["f1"] == {"value": 0.0, "low": None, "high": None}
    assert result["families"]["noise"]["sounds"] == ["hiss"]
    assert result["families"]["noise"]["mean_f1"]["value"] == 1.0


def test_no_certainty_from_a_sound_that_always_fails():
    assert spread(0.0, np.zeros(50), 6, 5) == {"value": 0.0, "low": 0.0, "high": round(wilson(0, 6)[1], 4)}
    assert spread(1.0, np.ones(50), 6, 5)["low"] < 0.7


def test_a_sound_that_was_never_there():
    result = score_set([(clip(), heard([event("squeal", 1, 2)])), (clip(name="b"), heard())], about="x")
    assert result["never_there"] == ["squeal"]
    assert result["sounds"]["squeal"]["precision"]["hits"] == 0 and result["sounds"]["squeal"]["false"] == 1
    assert result["sounds"]["squeal"]["f1"]["value"] is None
    assert "verdicts" not in result
