"""Clipping, holes and silence as the samples themselves tell them."""

import numpy as np
import pytest

from listen.features.samples import CLIP_AT, HOLE_S, SampleWatch
from tests.support.signals import RATE_HZ, noise


def facts_of(samples, step=None):
    watch = SampleWatch(RATE_HZ)
    samples = np.asarray(samples, np.float32)
    for start in range(0, len(samples), step or max(1, len(samples))):
        watch.push(samples[start : start + (step or len(samples))])
    return watch.facts()


def spoilt():
    samples = noise(2.0, 0.1, 1)
    samples[20_000:20_400] = 0.0  # 12.5 ms
    samples[40_000:40_040] = 0.0  # 1.25 ms: too short
    samples[50_000:50_100] = 1.0
    return samples


def test_holes_are_where_they_are():
    facts = facts_of(spoilt())
    assert facts.holes == ((20_000 / RATE_HZ, 20_400 / RATE_HZ),)
    assert 40 / RATE_HZ < HOLE_S < 400 / RATE_HZ


@pytest.mark.parametrize("step", [1, 173, 20_100, 32_000])
def test_blocks_do_not_matter(step):
    samples = spoilt()[: 52_000 if step > 1 else 21_000]
    assert facts_of(samples, step) == facts_of(samples)


def test_silence_before_the_sound_and_after_it_is_no_hole():
    samples = noise(2.0, 0.1, 2)
    samples[:5000] = 0.0
    samples[-5000:] = 0.0
    facts = facts_of(samples)
    assert facts.holes == ()
    assert facts.silent_fraction == pytest.approx(10_000 / len(samples))


def test_many_holes_are_bounded():
    samples = noise(40.0, 0.1, 3).reshape(-1, 1000)
    samples[:, 400:700] = 0.0
    assert len(facts_of(samples.ravel()).holes) == 500


def test_clipping_counts_runs_at_the_stops_of_both_signs():
    samples = noise(1.0, 0.05, 4)
    samples[1000:1011] = 1.0
    samples[2000:2006] = -1.0
    samples[3000] = 1.0  # one sample alone is a peak, not clipping
    facts = facts_of(samples)
    assert facts.clipped_fraction == pytest.approx((10 + 5) / len(samples))
    assert facts.peak == 1.0


def test_below_the_stops_nothing_is_clipped():
    samples = np.clip(noise(1.0, 0.5, 5), -1, 1) * (CLIP_AT - 0.01)
    assert facts_of(samples).clipped_fraction == 0.0


def test_nothing_pushed():
    facts = SampleWatch(RATE_HZ).facts()
    assert (facts.clipped_fraction, facts.peak, facts.holes, facts.silent_fraction) == (0.0, 0.0, (), 0.0)
