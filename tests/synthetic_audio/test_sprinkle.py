"""Strokes and sudden sounds strewn over a scene for training."""

import collections

import numpy as np
import pytest

from synthetic_audio import RATE_HZ, draw, render, sprinkle
from synthetic_audio.sources import SOURCES

SCENE = draw(11, family="normal_brew", background="none", phone=False)


def strewn(seed):
    return sprinkle(SCENE, np.random.default_rng(seed))


def crowd_of(spec):
    """The strokes of one making that come last: they share how they bounce."""
    short = [e for e in spec.events if e.source == "struck" and e.sound is None and not e.params["attack_ms"]]
    making = short[-1].params["gap_ms"] if short else None
    return [e for e in short if e.params["gap_ms"] == making]


def level_db(wave, start_s, stop_s):
    piece = wave[int(start_s * RATE_HZ) : int(stop_s * RATE_HZ)]
    return 10 * np.log10(np.mean(piece.astype(float) ** 2) + 1e-20)


def test_the_scenes_own_events_stay_as_they_were():
    more = strewn(1)
    assert more.events[: len(SCENE.events)] == SCENE.events and len(more.events) > len(SCENE.events)
    alone, beside = render(SCENE).stems["motor_run"], render(more).stems["motor_run"]
    # The whole may be turned down so as not to clip; its shape is the same.
    gain = float(np.dot(alone, beside) / np.dot(alone, alone))
    np.testing.assert_allclose(beside, gain * alone, atol=1e-5)
    assert 0 < gain <= 1.0


def test_the_same_seed_strews_the_same():
    assert strewn(3) == strewn(3) and strewn(3) != strewn(4)


def test_every_kind_comes_and_every_source_plays():
    kinds = collections.Counter(
        (e.source, e.sound) for seed in range(40) for e in strewn(seed).events[len(SCENE.events) :]
    )
    assert {sound for _, sound in kinds} >= {
        "click", None, "thump", "bang", "burst", "blast", "hiss", "water_flow", "gravel", "boil", "arcing",
    }  # fmt: skip
    rng = np.random.default_rng(5)
    for event in [e for seed in range(6) for e in strewn(seed).events[len(SCENE.events) :]]:
        wave = SOURCES[event.source](rng, RATE_HZ, event.for_s, {"mains_hz": 50.0, **event.params})
        assert np.isfinite(wave).all() and np.max(np.abs(wave)) > 0


@pytest.mark.parametrize("seed", range(12))
def test_what_is_called_a_click_is_over_soon_and_what_rings_on_is_not_called_one(seed):
    rng = np.random.default_rng(seed)
    crowd = crowd_of(strewn(seed))
    for event in strewn(seed).events[len(SCENE.events) :]:
        if event.source != "struck" or event.params["attack_ms"]:
            continue
        wave = np.pad(SOURCES["struck"](rng, RATE_HZ, event.for_s, event.params), (0, RATE_HZ))
        strongest = max(level_db(wave, t, t + 0.01) for t in np.arange(0.0, 0.06, 0.005))
        late = level_db(wave, 0.12, 0.14)
        if event.sound == "click":
            assert late < strongest - 20
        else:
            assert event.params["ring_ms"] >= 180 or event in crowd


def test_a_crowd_is_of_one_making_keeps_no_time_and_is_no_click():
    crowds = [crowd for crowd in (crowd_of(strewn(seed)) for seed in range(40)) if len(crowd) >= 5]
    assert 3 <= len(crowds) <= 16
    for crowd in crowds:
        assert {event.sound for event in crowd} == {None}
        assert len({(e.params["modes"], e.params["bounces"], e.where) for e in crowd}) == 1
    uneven = [np.diff(np.sort([e.at_s for e in crowd])) for crowd in crowds]
    assert np.median([gaps.std() / gaps.mean() for gaps in uneven]) > 0.5
