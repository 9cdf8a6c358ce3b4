"""Levels around a pump: what follows it, beside what it was itself."""

import numpy as np
import pytest

from listen.ear.levels import LevelTracks
from tests.support.signals import band_noise, collect, noise, within

DURATION_S = 16.0


def around_a_pump(pump_rms, behind_rms, room_rms=1e-4, duration_s=DURATION_S, behind_s=0.7):
    """A pump of noise from 2 to 10 s, and what follows from 10.1 s on, as a discharge does."""
    samples = noise(duration_s, room_rms, 1)
    samples = samples + within(band_noise(duration_s, pump_rms, 2, 900, 1110), 2.0, 10.0)
    samples = samples + within(band_noise(duration_s, behind_rms, 3, 2000, 6500), 10.1, 10.1 + behind_s)
    return LevelTracks(collect(samples))


def after_db(*args, **kinds):
    return around_a_pump(*args, **kinds).after_db(2.0, 10.0)


def behind_db(*args, **kinds):
    return around_a_pump(*args, **kinds).behind_db(2.0, 10.0)


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


def test_what_lasts_behind_a_drowned_pump_stands_over_the_room():
    assert 8.0 < behind_db(1e-5, 0.03, room_rms=0.01) < 20.0
    assert abs(behind_db(1e-5, 1e-6, room_rms=0.01)) < 3.0
    # A stroke is over sooner than any discharge.
    assert behind_db(1e-5, 0.03, room_rms=0.01, behind_s=0.06) < 3.0
    assert np.isnan(behind_db(1e-5, 0.01, duration_s=10.5))


def from_to(rms, start_s, stop_s, room_rms=1e-3):
    samples = noise(DURATION_S, room_rms, 1) + within(
        band_noise(DURATION_S, rms, 2, 200, 10_000), start_s, stop_s
    )
    return LevelTracks(collect(samples))


BAND_HZ = (160.0, 12_500.0)


def test_what_flows_stands_over_the_quietest_second_and_a_floor_does_not():
    assert from_to(0.03, 6.0, DURATION_S).over_quiet_db(*BAND_HZ, 6.0, DURATION_S) > 20.0
    assert abs(from_to(0.0, 6.0, DURATION_S).over_quiet_db(*BAND_HZ, 6.0, DURATION_S)) < 1.5
    # A pump before it, however loud, leaves the quiet second before that.
    louder = from_to(0.3, 2.0, 6.0)
    assert abs(louder.over_quiet_db(*BAND_HZ, 6.2, DURATION_S)) < 1.5
    assert np.isnan(louder.over_quiet_db(*BAND_HZ, 0.3, DURATION_S))


def test_a_sound_that_ends_falls():
    ends = from_to(0.03, 2.0, 9.0)
    assert ends.fall_db(*BAND_HZ, 2.0, 9.0) > 20.0
    assert abs(ends.fall_db(*BAND_HZ, 2.0, 6.0)) < 1.0
    assert np.isnan(ends.fall_db(*BAND_HZ, 2.0, DURATION_S))
