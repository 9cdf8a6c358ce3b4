"""Texture segments: their names, shape, and what each kind of sound does to them."""

import numpy as np
import pytest

from listen.features.collect import BANDS_K
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.textures import (
    FLOOR_S,
    GROUPS,
    SEGMENT_HOP_S,
    SEGMENT_S,
    group_levels,
    rolling_floor,
    segment_textures,
)
from listen.spectra import CELL_S, RATE_HZ
from tests.support.signals import band_noise, click, collect, comb, noise, put, tones, within


def segments_of(samples):
    features = collect(samples)
    return segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))


def column(segments, name):
    return segments.values[:, TEXTURE_NAMES.index(name)]


def test_names_are_unique_and_as_many_as_columns():
    assert len(set(TEXTURE_NAMES)) == len(TEXTURE_NAMES)
    segments = segments_of(noise(4.0, 0.05, 1))
    assert segments.values.shape == (len(segments.starts_s), len(TEXTURE_NAMES))
    np.testing.assert_allclose(np.diff(segments.starts_s), SEGMENT_HOP_S)
    assert segments.starts_s[-1] + SEGMENT_S <= 4.0 + CELL_S


def test_shape_is_relative_to_the_segment_itself():
    one, other = segments_of(noise(4.0, 0.05, 2)), segments_of(noise(4.0, 0.005, 2))
    shape = [n for n in TEXTURE_NAMES if n.startswith("shape_")]
    for name in shape:
        np.testing.assert_allclose(column(one, name), column(other, name), atol=0.02)
    total = sum(10 ** (column(one, name) / 10) for name in shape)
    np.testing.assert_allclose(total, 1.0, rtol=1e-4)


def test_a_hiss_shows_where_it_is():
    samples = noise(12.0, 0.001, 3) + within(band_noise(12.0, 0.03, 4, 5000, 15_500), 5.0, 8.0)
    segments = segments_of(samples)
    inside = (segments.starts_s > 5.1) & (segments.starts_s + SEGMENT_S < 7.9)
    outside = (segments.starts_s + SEGMENT_S < 4.9) | (segments.starts_s > 8.1)
    rise = column(segments, "rise_5k_8k_db")
    assert rise[inside].min() > 20 and rise[outside].max() < 8
    assert column(segments, "rise_315_630_db")[inside].max() < 8
    assert column(segments, "flat_4k_14k_db")[inside].min() > -6
    starting = (segments.starts_s < 5.0) & (segments.starts_s + SEGMENT_S > 5.5)
    assert column(segments, "slope_5k_8k_db_per_s")[starting].max() > 10


def test_tones_are_not_flat():
    voice_like = tones(4.0, comb(200.0, range(1, 20), 0.05), 5) + noise(4.0, 1e-5, 6)
    flat = column(segments_of(voice_like), "flat_0k3_1k_db")
    noisy = column(segments_of(noise(4.0, 0.05, 6)), "flat_0k3_1k_db")
    assert flat.max() < noisy.min() - 6


@pytest.mark.parametrize("rate_hz, name", [
    (2.0, "modulation_1_3"), (5.0, "modulation_3_7"), (10.0, "modulation_7_15"), (20.0, "modulation_15_31"),
])  # fmt: skip
def test_modulation_falls_into_its_range(rate_hz, name):
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    samples = noise(6.0, 0.05, 7) * (1.0 + 0.8 * np.sin(2 * np.pi * rate_hz * t))
    segments = segments_of(samples)
    shares = {
        n: float(np.median(column(segments, n)))
        for n in TEXTURE_NAMES
        if n.startswith("modulation_") and n[11].isdigit()
    }
    assert max(shares, key=shares.get) == name
    assert (
        column(segments, "modulation_db").mean()
        > 3 * column(segments_of(noise(6.0, 0.05, 8)), "modulation_db").mean()
    )


def test_onsets_are_counted_in_their_segments():
    samples = noise(6.0, 0.001, 9)
    for n, at_s in enumerate((2.0, 2.2, 2.4, 2.6)):
        samples = put(samples, click(0.2, n), at_s)
    segments = segments_of(samples)
    count = column(segments, "onset_count")
    whole = (segments.starts_s < 1.99) & (segments.starts_s + SEGMENT_S > 2.62)
    assert whole.any() and (count[whole] == 4).all()
    assert (count[segments.starts_s > 2.7] == 0).all()
    assert column(segments, "onset_rise_db")[whole].min() > 20
    assert (column(segments, "onset_decay_ms")[count == 0] == 0).all()


def test_combs_are_counted():
    samples = noise(10.0, 0.002, 10)
    samples[5 * RATE_HZ :] += tones(5.0, comb(50.0, range(1, 13), 0.03), 11)
    segments = segments_of(samples)
    late, early = segments.starts_s > 7.0, segments.starts_s < 2.0
    assert (
        column(segments, "locked_even_n")[late].min() >= 5
        and column(segments, "locked_odd_n")[late].min() >= 5
    )
    assert column(segments, "locked_odd_n")[early].max() <= 1


def test_rolling_floor_is_a_low_percentile_nearby():
    rng = np.random.default_rng(12)
    t = round(300 / CELL_S)
    levels = (rng.normal(-60, 1, (t, 2)) + np.array([0.0, 10.0])).astype(np.float32)
    half = t // 2
    levels[half:] += 20
    floor = rolling_floor(levels)
    assert floor.shape == levels.shape
    far = round(FLOOR_S / CELL_S)
    for part, shift in ((slice(far, half - far), 0.0), (slice(half + far, t - far), 20.0)):
        expected = np.percentile(levels[part], 10, axis=0)
        np.testing.assert_allclose(floor[part].mean(axis=0), expected, atol=0.3)
        assert expected[0] == pytest.approx(-61.3 + shift, abs=0.3)
    assert rolling_floor(np.zeros((0, 3), np.float32)).shape == (0, 3)


def test_groups_add_power():
    bands = np.full((5, len(BANDS_K)), -50.0, np.float32)
    levels = group_levels(bands)
    for column_, (a, b) in enumerate(GROUPS):
        np.testing.assert_allclose(levels[:, column_], -50 + 10 * np.log10(b - a + 1), atol=1e-4)
