"""What must not matter: gain, polarity, how the clip comes in blocks, its sample rate."""

import numpy as np
import pytest

from listen.features.mains import comb_tracks, estimate_mains, weigh_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.textures import segment_textures
from tests.support.signals import RATE_HZ, band_noise, click, collect, comb, motor, noise, put, tones, within

DURATION_S = 11.3
CLICKS_S = (1.0, 2.5, 6.25, 9.7)
ARRAYS = ("bands_db", "flat_db", "tone_hz", "tone_db", "crest_db", "spread_db", "envelope_db", "ltas_db")


def scene(rate_hz=RATE_HZ):
    """Hum of a coil, a motor run, a hiss and clicks over a quiet room."""
    # The same density whatever the rate; well above the numerical floor, also 12 dB down.
    out = noise(DURATION_S, 0.002 * np.sqrt(rate_hz / RATE_HZ), 1, rate_hz)
    out += tones(DURATION_S, comb(100.0, range(1, 8), 0.01), 2, rate_hz)
    out += within(tones(DURATION_S, motor(50, 4, 0.05, 0.01), 3, rate_hz), 3.0, 6.0, rate_hz)
    out += within(band_noise(DURATION_S, 0.02, 4, 3000, 14000, rate_hz), 7.0, 9.0, rate_hz)
    for seed, at_s in enumerate(CLICKS_S):
        out = put(out, click(0.25, seed, rate_hz=rate_hz), at_s, rate_hz)
    return out.astype(np.float32)


@pytest.fixture(scope="module")
def plain():
    return collect(scene())


def segments(features):
    return segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))


def assert_same(one, other, *, rtol=0.0, atol=1e-4):
    for name in ARRAYS:
        np.testing.assert_allclose(
            getattr(one, name), getattr(other, name), rtol=rtol, atol=atol, err_msg=name
        )
    for name in ("hz", "level_db", "over_db", "floor_db"):
        np.testing.assert_allclose(
            getattr(one.lines, name), getattr(other.lines, name), atol=atol, err_msg=name
        )
    np.testing.assert_allclose(one.onsets.rows, other.onsets.rows, rtol=1e-5, atol=atol)
    np.testing.assert_allclose(one.picture.levels_db, other.picture.levels_db, atol=atol)
    assert one.facts == other.facts
    assert one.duration_s == other.duration_s


@pytest.mark.parametrize("block_s", [0.01, 0.37, 1.0, 8.0, 8.5])
def test_blocks_do_not_matter(plain, block_s):
    assert_same(plain, collect(scene(), block_s=block_s))


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
def test_blocks_do_not_matter_when_resampled(rate_hz):
    samples = scene(rate_hz)
    assert_same(collect(samples, rate_hz), collect(samples, rate_hz, block_s=0.37), atol=2e-3)


def test_uneven_blocks_do_not_matter(plain):
    from listen.features.collect import Collector

    samples, rng = scene(), np.random.default_rng(8)
    collector = Collector(RATE_HZ)
    start = 0
    while start < len(samples):
        stop = start + int(rng.integers(0, 40_000))
        collector.push(samples[start:stop])
        start = stop
    assert_same(plain, collector.finish())


def test_polarity_does_not_matter(plain):
    assert_same(plain, collect(-scene()))


@pytest.mark.parametrize("gain_db", [-12.0, 12.0])
def test_gain_moves_levels_and_nothing_else(plain, gain_db):
    turned = collect(scene() * 10 ** (gain_db / 20))
    assert turned.facts.clipped_fraction == plain.facts.clipped_fraction == 0.0
    # The quietest bands reach the numerical floor: only what stands above it is compared.
    loud = plain.bands_db > -85
    np.testing.assert_allclose((turned.bands_db - plain.bands_db)[loud], gain_db, atol=0.02)
    assert loud.mean() > 0.7
    np.testing.assert_allclose(turned.onsets.column("time_s"), plain.onsets.column("time_s"), atol=1e-6)
    np.testing.assert_allclose(turned.onsets.column("rise_db"), plain.onsets.column("rise_db"), atol=0.05)
    np.testing.assert_allclose(turned.onsets.column("decay_ms"), plain.onsets.column("decay_ms"), atol=1.0)
    one, other = weigh_mains(plain.lines), weigh_mains(turned.lines)
    assert one.hz == other.hz == 50
    assert one.measured_hz == pytest.approx(other.measured_hz, abs=0.01)
    one, other = segments(plain).values, segments(turned).values
    # Levels are taken relative, so that a phone's own gain does not change the texture.
    for column, name in enumerate(TEXTURE_NAMES):
        scale = max(1.0, float(np.std(one[:, column])))
        # Lines near their threshold may come or go with the last bit: the mean is held, not each.
        assert np.mean(np.abs(one[:, column] - other[:, column])) < 0.05 * scale, name


def test_all_clicks_are_onsets(plain):
    times = plain.onsets.column("time_s")
    for at_s in CLICKS_S:
        assert np.min(np.abs(times - at_s)) < 0.003


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_sample_rate_of_the_file_does_not_matter(plain, rate_hz):
    """The noise differs by its draw; what is heard of hum, motor, clicks and hiss does not."""
    other = collect(scene(rate_hz), rate_hz)
    assert other.duration_s == pytest.approx(plain.duration_s, abs=1e-3)
    assert abs(len(other.bands_db) - len(plain.bands_db)) <= 1
    for at_s in CLICKS_S:
        assert np.min(np.abs(other.onsets.column("time_s") - at_s)) < 0.003
    for features in (plain, other):
        mains = estimate_mains(features.lines)
        combs = comb_tracks(features.lines, mains)
        assert mains.hz == 50
        assert np.nanmedian(combs.shaft_hz) == pytest.approx(23.75, abs=0.3)
    n = min(len(other.bands_db), len(plain.bands_db))
    hiss = [features.band_db(3000, 12000)[:n] for features in (plain, other)]
    inside = (plain.times_s[:n] > 7.2) & (plain.times_s[:n] < 8.8)
    rise = [np.median(level[inside]) - np.median(level[~inside]) for level in hiss]
    assert rise[0] == pytest.approx(rise[1], abs=1.5) and rise[0] > 20
