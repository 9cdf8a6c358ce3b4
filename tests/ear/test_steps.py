"""Where something begins or ends on a level track."""

import numpy as np
import pytest

from listen.ear.steps import SIDE, runs, step_times
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


@pytest.mark.parametrize("text, gap, expected", [
    ("", 0, []), ("0000", 0, []), ("1111", 0, [(0, 4)]), ("0110", 0, [(1, 3)]), ("1011", 0, [(0, 1), (2, 4)]),
    ("1011", 1, [(0, 4)]), ("100101", 1, [(0, 1), (3, 6)]), ("100101", 2, [(0, 6)]),
])  # fmt: skip
def test_runs(text, gap, expected):
    assert runs(np.array([c == "1" for c in text], bool), gap) == expected
