"""Levels around a pump: what follows it, beside what it was itself."""

import numpy as np
import pytest

from listen.ear.levels import LevelTracks
from tests.support.signals import band_noise, collect, noise, within

DURATION_S = 16.0


def after_db(pump_rms, behind_rms, room_rms=1e-4, duration_s=DURATION_S):
    """Measure a pump of noise from 2 to 10 s, and what follows from 10.1 to 10.8 s, as a discharge does."""
    samples = noise(duration_s, room_rms, 1)
    samples = samples + within(band_noise(duration_s, pump_rms, 2, 900, 1110), 2.0, 10.0)
    samples = samples + within(band_noise(duration_s, behind_rms, 3, 2000, 6500), 10.1, 10.8)
    return LevelTracks(collect(samples)).after_db(2.0, 10.0)


@pytest.mark.parametrize("over_db", [-6.0, 0.0, 12.0])
def test_what_follows_is_measured_over_the_pumps_strongest_part(over_db):
    # Noise fluctuates: the loudest cell lies over its mean, and a low percentile of the pump under its own.
    assert 0.0 < after_db(0.01, 0.01 * 10 ** (over_db / 20)) - over_db < 4.5


def test_nothing_behind_it_is_softer_than_it():
    assert after_db(0.01, 1e-6) < -10.0


def test_a_pump_that_stands_out_of_nothing_measures_nothing():
    assert np.isnan(after_db(1e-5, 0.01, room_rms=0.01))


def test_a_clip_that_ends_with_the_pump_measures_nothing():
    assert np.isnan(after_db(0.01, 0.01, duration_s=10.5))
