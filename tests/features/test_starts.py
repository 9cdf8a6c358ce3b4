"""Where a noise sets in: found at its place, told apart by how it goes on, the same at any level."""

import numpy as np
import pytest

from listen.features.starts import START_NAMES, find_starts
from listen.spectra import CELL_S
from tests.support.signals import RATE_HZ, band_noise, collect, noise, within

DURATION_S = 10.0


def release(at_s, decay_s, seed, rms=0.05):
    """Noise of 1 to 10 kHz that falls by 20 dB in `decay_s`."""
    wave = band_noise(DURATION_S, rms, seed, 1000, 10_000)
    t = np.arange(len(wave)) / RATE_HZ
    return within(wave * 10 ** (-np.maximum(t - at_s, 0.0) / decay_s), at_s, DURATION_S)


def jet(at_s, stop_s, seed, rms=0.05):
    return within(band_noise(DURATION_S, rms, seed, 1000, 14_000), at_s, stop_s)


def starts_of(samples):
    return find_starts(collect(samples))


def nearest(starts, at_s):
    row = int(np.argmin(np.abs(starts.times_s - at_s)))
    assert abs(starts.times_s[row] - at_s) <= 2 * CELL_S
    return dict(zip(START_NAMES, starts.values[row], strict=True))


def test_names_are_unique_and_as_many_as_columns():
    assert len(set(START_NAMES)) == len(START_NAMES)
    starts = starts_of(noise(DURATION_S, 0.001, 1) + release(4.0, 0.5, 2))
    assert starts.values.shape == (len(starts.cells), len(START_NAMES)) and starts.values.dtype == np.float32


@pytest.mark.parametrize("at_s", [2.0, 4.03, 7.017])
def test_a_sudden_noise_is_found_where_it_begins(at_s):
    starts = starts_of(noise(DURATION_S, 0.001, 3) + release(at_s, 0.5, 4))
    nearest(starts, at_s)


def test_steady_noise_has_hardly_a_start():
    assert len(starts_of(noise(DURATION_S, 0.01, 5)).cells) <= 1


def test_a_release_falls_and_a_jet_stays():
    floor = noise(DURATION_S, 0.001, 6)
    falls = nearest(starts_of(floor + release(3.0, 0.5, 7)), 3.0)
    stays = nearest(starts_of(floor + jet(3.0, 9.0, 8)), 3.0)
    for name in ("over_4_0_1_db", "over_5_1_2_db"):
        assert falls[name] > 15 and stays[name] > 15
    assert falls["over_5_18_28_db"] < 5 < 20 < stays["over_5_18_28_db"]


def test_before_and_after_are_relative_to_what_was_there_just_before():
    starts = starts_of(noise(DURATION_S, 0.001, 9) + jet(3.0, 9.0, 10))
    row = nearest(starts, 3.0)
    assert all(abs(row[f"over_{r}_before_16_before_6_db"]) < 3 for r in range(8))
    # Low ranges, in which the jet has nothing, stay where they were.
    assert abs(row["over_0_3_5_db"]) < 6 and row["over_5_3_5_db"] > 20


def test_gain_changes_nothing():
    samples = noise(DURATION_S, 0.002, 11) + release(5.0, 0.8, 12)
    one, other = starts_of(samples), starts_of(samples * 0.1)
    np.testing.assert_array_equal(one.cells, other.cells)
    np.testing.assert_allclose(one.values, other.values, atol=0.05)


@pytest.mark.parametrize("duration_s", [0.05, 0.3, 0.7])
def test_very_short_clips_give_few_or_none(duration_s):
    starts = starts_of(noise(duration_s, 0.01, 13))
    assert starts.values.shape == (len(starts.cells), len(START_NAMES)) and len(starts.cells) <= 2
