"""Where something begins or ends on a level track."""

import numpy as np
import pytest

from listen.ear.steps import SIDE, followed, runs, step_times
from listen.spectra import CELL_S


def track(levels, bands=6, seed=1):
    noise = np.random.default_rng(seed).normal(0, 0.5, (len(levels), bands))
    return (np.asarray(levels, float)[:, None] + noise).astype(np.float32)


@pytest.mark.parametrize("at", [20, 50, 90])
@pytest.mark.parametrize("rising", [True, False])
def test_step_is_placed_within_a_cell(at, rising):
    levels = np.where(np.arange(120) < at, -60.0, -40.0)
    levels = track(levels if rising else -100 - levels)
    when, height = step_times(levels, (at - 12) * CELL_S, (at + 12) * CELL_S, rising)
    assert when == pytest.approx(at * CELL_S, abs=CELL_S)
    assert height == pytest.approx(20.0, abs=2.0)


def test_a_step_the_other_way_is_none():
    levels = track(np.where(np.arange(100) < 50, -40.0, -60.0))
    _, height = step_times(levels, 2.0, 4.5, rising=True)
    assert height < 2.0


def test_a_step_in_few_bands_is_seen():
    levels = track(np.full(100, -60.0), bands=9)
    levels[50:, :3] += 15
    when, height = step_times(levels, 2.0, 4.5, rising=True)
    assert when == pytest.approx(50 * CELL_S, abs=CELL_S) and height > 12


@pytest.mark.parametrize("n", [2, 3, SIDE, 2 * SIDE])
def test_short_tracks_do_not_crash(n):
    when, height = step_times(track(np.full(n, -60.0)), 0.0, 10.0, rising=True)
    assert 0.0 < when <= n * CELL_S and np.isfinite(height)


def lasting(start, stop, n=200, height=20.0):
    levels = np.full(n, -60.0)
    levels[start:stop] += height
    return levels


def test_a_sound_is_followed_to_both_edges():
    assert followed(track(lasting(40, 150)), 80, 100, 400) == (40, 150)


def test_it_is_followed_through_what_covers_it_for_a_moment():
    levels = lasting(40, 150)
    levels[110:114] = -20.0
    assert followed(track(levels), 60, 80, 400) == (40, 150)


def test_a_click_before_it_is_none_of_it():
    levels = lasting(40, 150)
    levels[35:37] = -40.0
    assert followed(track(levels), 60, 80, 400) == (40, 150)


def test_a_louder_neighbour_is_none_of_it():
    levels = lasting(40, 150)
    levels[150:] = -20.0
    assert followed(track(levels), 60, 80, 400) == (40, 150)


def test_what_stands_out_nowhere_is_not_followed():
    assert followed(track(np.full(200, -60.0)), 60, 80, 400) is None


@pytest.mark.parametrize("text, gap, expected", [
    ("", 0, []), ("0000", 0, []), ("1111", 0, [(0, 4)]), ("0110", 0, [(1, 3)]), ("1011", 0, [(0, 1), (2, 4)]),
    ("1011", 1, [(0, 4)]), ("100101", 1, [(0, 1), (3, 6)]), ("100101", 2, [(0, 6)]),
])  # fmt: skip
def test_runs(text, gap, expected):
    assert runs(np.array([c == "1" for c in text], bool), gap) == expected
