"""The picture: rows spaced in log, what is heard drawn where it is."""

import numpy as np
import pytest

from listen.features.picture import HIGHEST_HZ, LOWEST_HZ, MAX_COLUMNS, ROWS, PictureBuilder, row_hz
from listen.spectra import CELL_S, FRAME_N, LOW_N, SpectraChunk
from tests.support.signals import RATE_HZ, band_noise, click, collect, noise, put, tones, within


def test_rows_are_spaced_in_log():
    hz = row_hz()
    assert len(hz) == ROWS
    assert hz[0] == pytest.approx(LOWEST_HZ) and hz[-1] == pytest.approx(HIGHEST_HZ)
    np.testing.assert_allclose(np.diff(np.log(hz)), np.log(HIGHEST_HZ / LOWEST_HZ) / (ROWS - 1), rtol=1e-9)


@pytest.mark.parametrize("hz", [50.0, 100.0, 120.0, 240.0, 630.0, 780.0, 1000.0, 4000.0, 12_000.0])
def test_tone_is_drawn_at_its_row(hz):
    picture = collect(tones(4.0, {hz: 0.1}, 1) + noise(4.0, 1e-4, 2)).picture
    mean = picture.levels_db[:, 5:-5].mean(axis=1)
    assert int(np.argmax(mean)) == pytest.approx(int(np.argmin(np.abs(np.log(picture.hz / hz)))), abs=1)
    # A hum is a line, not a smear: an octave away it is gone.
    far = np.abs(np.log2(picture.hz / hz)) > 1.0
    assert mean.max() - mean[far].max() > 25


def test_columns_follow_time():
    samples = noise(6.0, 1e-4, 3) + within(band_noise(6.0, 0.05, 4, 2000, 12_000), 2.0, 4.0)
    picture = collect(samples).picture
    assert picture.duration_s == pytest.approx(6.0)
    bright = picture.levels_db[picture.hz > 3000].mean(axis=0) > -70
    times = (np.arange(bright.size) + 0.5) * picture.duration_s / bright.size
    assert times[bright].min() == pytest.approx(2.0, abs=2 * CELL_S)
    assert times[bright].max() == pytest.approx(4.0, abs=2 * CELL_S)


@pytest.mark.parametrize("columns", [10, MAX_COLUMNS, MAX_COLUMNS + 1, 3 * MAX_COLUMNS + 5, 9 * MAX_COLUMNS])
def test_long_clips_are_merged_and_keep_their_peaks(columns):
    builder = PictureBuilder()
    marked = columns // 3
    done = 0
    while done < columns:
        size = min(997, columns - done)
        high, low = (
            np.full((4 * size, FRAME_N // 2 + 1), 1e-8, np.float32),
            np.full((size, LOW_N // 2 + 1), 1e-8, np.float32),
        )
        if done <= marked < done + size:
            high[4 * (marked - done)] = 1.0
        empty = np.zeros((0, 3), np.float32)
        builder.push(SpectraChunk(high, empty, low, np.zeros((0, 4097), np.float32), np.zeros(0, np.float32)))
        done += size
    levels = builder.finish(columns * CELL_S).levels_db
    assert levels.shape[0] == ROWS and levels.shape[1] <= MAX_COLUMNS
    assert levels.shape[1] > MAX_COLUMNS // 2 - 1 or levels.shape[1] == columns
    # The peak stays, at its share of the clip.
    brightest = int(np.argmax(levels[-1]))
    assert levels[-1, brightest] > np.median(levels[-1]) + 60
    assert brightest / levels.shape[1] == pytest.approx(marked / columns, abs=2 / levels.shape[1] + 0.003)


def test_click_is_visible_as_a_column():
    picture = collect(put(noise(3.0, 1e-4, 5), click(0.3, 6), 1.5)).picture
    column = int(np.argmax(picture.levels_db[picture.hz > 1000].mean(axis=0)))
    assert (column + 0.5) * picture.duration_s / picture.levels_db.shape[1] == pytest.approx(
        1.5, abs=2 * CELL_S
    )
    assert RATE_HZ == 32_000
