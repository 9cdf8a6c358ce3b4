"""The mains estimate: made when the evidence is there, withheld when it is thin."""

import numpy as np
import pytest

from listen.features.lines import KEEP, LineTable
from listen.features.mains import comb_share, comb_tracks, estimate_mains, weigh_mains
from tests.support.signals import collect, comb, noise, tones


def lines_of(samples):
    return collect(samples).lines


def table_of(rows):
    """A table of lines: one list of (Hz, dB over its neighbourhood) a window."""
    shape = (len(rows), KEEP)
    hz, level, over = (np.full(shape, np.nan, np.float32) for _ in range(3))
    for w, row in enumerate(rows):
        for i, (line_hz, height_db) in enumerate(row):
            hz[w, i], level[w, i], over[w, i] = line_hz, height_db - 90.0, height_db
    return LineTable(hz, level, over, np.full(len(rows), -90.0, np.float32))


def test_noise_has_no_mains():
    for seed in range(3):
        assert estimate_mains(lines_of(noise(10.0, 0.05, seed))).hz is None


def test_empty_table_has_no_mains():
    table = table_of([])
    assert estimate_mains(table).source == "unknown"
    assert len(comb_tracks(table, estimate_mains(table)).even_n) == 0


@pytest.mark.parametrize(
    "chord", [(220.0, 277.2, 329.6, 440.0), (110.0, 165.0, 247.5), (261.6, 523.3, 784.0)]
)
def test_music_that_stands_still_has_no_mains(chord):
    amplitudes = {hz * k: 0.02 / k for hz in chord for k in (1, 2, 3)}
    assert estimate_mains(lines_of(tones(8.0, amplitudes, 1) + noise(8.0, 0.001, 2))).hz is None


def test_a_voice_that_glides_has_no_mains():
    t = np.arange(8 * 32_000) / 32_000
    phase = 2 * np.pi * np.cumsum(120 + 25 * np.sin(2 * np.pi * 0.6 * t)) / 32_000
    voice = sum(0.05 / k * np.sin(k * phase) for k in range(1, 12))
    assert estimate_mains(lines_of(voice + noise(8.0, 0.001, 3))).hz is None


def test_lines_of_both_systems_decide_nothing():
    # 300, 600 and 900 Hz are multiples of 50 and of 60.
    assert (
        estimate_mains(lines_of(tones(8.0, comb(300.0, (1, 2, 3), 0.05), 4) + noise(8.0, 0.001, 5))).hz
        is None
    )


def test_a_hum_is_made_out_among_many_peaks_that_hardly_stand_out():
    """Noise makes peaks of 8 to 11 dB in every window; a coil's few multiples stand far over them and stay."""
    rng = np.random.default_rng(3)
    rows = [
        [(100.1 * k, 28.0) for k in (1, 2, 3, 4)]
        + [(float(hz), float(rng.uniform(8.0, 11.0))) for hz in rng.uniform(60.0, 1200.0, 36)]
        for _ in range(12)
    ]
    assert estimate_mains(table_of(rows)).hz == 50


@pytest.mark.parametrize(("off_hz", "told_hz"), [(-0.4, None), (0.4, None), (0.1, 50)])
def test_a_motor_that_slips_less_than_a_hundredth_is_not_the_mains(off_hz, told_hz):
    """Small motors slip by 0.6 % and more; among other lines only what strays less is taken for the supply."""
    others = [(113.0 * k, 25.0) for k in range(1, 11)] + [(171.3 * k, 25.0) for k in range(1, 8)]
    rows = [[((50.0 + off_hz) * k, 25.0) for k in range(1, 13)] + others] * 8
    assert estimate_mains(table_of(rows)).hz == told_hz


def test_one_line_alone_decides_nothing():
    assert estimate_mains(lines_of(tones(8.0, {100.0: 0.05}, 6) + noise(8.0, 0.001, 7))).hz is None


@pytest.mark.parametrize("off_hz", [-0.8, 0.8])
def test_a_comb_beside_the_mains_is_not_the_mains(off_hz):
    amplitudes = comb(50.0 + off_hz, range(1, 13), 0.03)
    assert estimate_mains(lines_of(tones(8.0, amplitudes, 8) + noise(8.0, 0.001, 9))).hz is None


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_what_a_person_says_stands(mains_hz):
    silent = lines_of(noise(6.0, 0.05, 1))
    mains = estimate_mains(silent, mains_hz)
    assert (mains.hz, mains.source, mains.measured_hz) == (mains_hz, "given", None)
    hum = lines_of(tones(6.0, comb(50.02, range(1, 13), 0.03), 2) + noise(6.0, 0.002, 3))
    mains = estimate_mains(hum, mains_hz)
    assert (mains.hz, mains.source) == (mains_hz, "given")
    # The fit is kept only where it fits what was said.
    assert (mains.measured_hz is not None) == (mains_hz == 50)


def test_hum_in_a_part_of_the_clip_is_enough():
    samples = noise(12.0, 0.003, 4)
    samples[: 6 * 32_000] += tones(6.0, comb(60.0, range(1, 13), 0.03), 5)
    evidence = weigh_mains(lines_of(samples))
    assert evidence.hz == 60 and evidence.harmonics >= 5 and evidence.share > 2 * evidence.other_share


def test_share_of_a_comb():
    hz, weight = np.array([50.0, 100.0, 150.05, 237.0]), np.array([1.0, 1.0, 1.0, 1.0])
    share, match = comb_share(hz, weight, 50.0)
    assert match[:2] == pytest.approx([1.0, 1.0]) and match[2] > 0.8 and match[3] < 1e-6
    assert share == pytest.approx(match.sum() / 4)
    assert comb_share(np.zeros(0), np.zeros(0), 50.0)[0] == 0.0


def test_multiples_are_sorted_into_even_and_odd():
    rows = [[(50.0, 20.0), (100.0, 30.0), (150.0, 18.0), (200.0, 25.0), (333.0, 40.0)]] * 4
    table = table_of(rows)
    tracks = comb_tracks(table, estimate_mains(table, 50))
    np.testing.assert_array_equal(tracks.even_n, 2)
    np.testing.assert_array_equal(tracks.odd_n, 2)
    np.testing.assert_allclose(tracks.even_over_db, 30.0)
    np.testing.assert_allclose(tracks.odd_over_db, 20.0)
    np.testing.assert_allclose(tracks.line_hz, 100.0)
    # Powers add: 30 dB and 25 dB over the same floor.
    np.testing.assert_allclose(tracks.even_db, 10 * np.log10(10 ** (-6.0) + 10 ** (-6.5)), atol=1e-4)


def test_without_mains_nothing_is_locked():
    table = table_of([[(50.0, 20.0), (100.0, 30.0), (200.0, 25.0)]] * 4)
    tracks = comb_tracks(table, estimate_mains(table_of([])))
    assert not tracks.even_n.any() and not tracks.odd_n.any() and tracks.poles is None


def test_two_slipping_lines_are_no_motor():
    rows = [[(23.75, 25.0), (47.5, 25.0), (100.0, 30.0), (200.0, 25.0)]] * 6
    table = table_of(rows)
    tracks = comb_tracks(table, estimate_mains(table, 50))
    assert not np.isfinite(tracks.shaft_hz).any()


def test_three_slipping_lines_are():
    rows = [[(23.75, 25.0), (47.5, 25.0), (71.25, 25.0), (95.0, 25.0), (100.0, 30.0)]] * 6
    table = table_of(rows)
    tracks = comb_tracks(table, estimate_mains(table, 50))
    np.testing.assert_allclose(tracks.shaft_hz, 23.75, atol=0.05)
    np.testing.assert_array_equal(tracks.shaft_n, 4)
    assert tracks.poles == 4


@pytest.mark.parametrize("slip", [0.02, 0.08, 0.11])
def test_a_motor_that_is_loaded_far_beyond_its_rating_turns_still(slip):
    """Slip grows with the load up to near a fifth, where the motor stalls (encyclopaedia)."""
    shaft_hz = 25.0 * (1.0 - slip)
    rows = [[*((k * shaft_hz, 25.0) for k in range(1, 7)), (100.0, 30.0), (200.0, 25.0)]] * 6
    table = table_of(rows)
    tracks = comb_tracks(table, estimate_mains(table, 50))
    np.testing.assert_allclose(tracks.shaft_hz, shaft_hz, atol=0.05)
    assert tracks.poles == 4
