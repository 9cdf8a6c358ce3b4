"""Onsets on synthetic clicks, trains and steps."""

import numpy as np
import pytest

from listen.ear.impulses import falls_back
from listen.features.onsets import ONSET_NAMES, OnsetFinder, _sliding_max
from listen.spectra import ENVELOPE_BINS
from tests.support.signals import RATE_HZ, band_noise, click, collect, noise, put, tones, within


def onsets_of(samples):
    onsets = collect(samples).onsets
    return onsets, onsets.column("time_s"), falls_back(onsets)


def test_sliding_maximum_is_the_plain_one():
    values = np.random.default_rng(1).normal(size=(200, 3))
    for n in (1, 2, 3, 7, 20, 64):
        expected = np.stack([values[max(0, i - n + 1) : i + 1].max(axis=0) for i in range(len(values))])
        np.testing.assert_array_equal(_sliding_max(values, n), expected)


@pytest.mark.parametrize("at_s", [0.05, 0.5, 0.7531, 2.9])
def test_click_is_found_once_where_it_is(at_s):
    _, times, back = onsets_of(put(noise(3.0, 0.001, 1), click(0.3, 2), at_s))
    assert back.sum() == 1
    assert times[back][0] == pytest.approx(at_s, abs=0.002)


@pytest.mark.parametrize("decay_s", [0.002, 0.004, 0.008])
def test_decay_follows_the_click(decay_s):
    """An amplitude that falls as exp(-t/τ) loses 20·log10(e)/τ = 8.686/τ dB a second."""
    decays, heights, rises = [], [], []
    for seed in range(8):
        onsets, times, _ = onsets_of(put(noise(2.0, 0.001, seed), click(0.3, 50 + seed, decay_s), 1.0))
        row = int(np.argmin(np.abs(times - 1.0)))
        decays.append(float(onsets.column("decay_ms")[row]))
        heights.append(float(onsets.column("rise_db")[row]))
        rises.append(float(onsets.column("attack_ms")[row]))
    # `decay_ms` is the time to half the height; the envelope's own window adds about 2 ms.
    expected_ms = 0.5 * np.mean(heights) / (8.686 / decay_s) * 1000
    assert np.median(decays) == pytest.approx(expected_ms, rel=0.25, abs=3.0)
    assert np.median(rises) < 6


def test_longer_clicks_have_longer_decays():
    decays = []
    for decay_s in (0.002, 0.005, 0.012):
        onsets, times, _ = onsets_of(put(noise(2.0, 0.001, 3), click(0.3, 4, decay_s), 1.0))
        decays.append(onsets.column("decay_ms")[np.argmin(np.abs(times - 1.0))])
    assert decays[0] < decays[1] < decays[2]


@pytest.mark.parametrize("height_db", [12.0, 20.0, 30.0])
def test_rise_follows_level(height_db):
    room = noise(3.0, 0.002, 5)
    low = onsets_of(put(room, click(0.05, 6), 1.0))[0].column("rise_db").max()
    high = onsets_of(put(room, click(0.05 * 10 ** (height_db / 20), 6), 1.0))[0].column("rise_db").max()
    assert high - low == pytest.approx(height_db, abs=1.5)


def test_centroid_tells_dull_from_bright():
    dull = band_noise(0.05, 0.2, 7, 600, 1900) * np.exp(-np.arange(1600) / 150)
    bright = band_noise(0.05, 0.2, 7, 6000, 15000) * np.exp(-np.arange(1600) / 150)
    both = put(put(noise(3.0, 0.0003, 8), dull, 1.0), bright, 2.0)
    onsets, times, _ = onsets_of(both)
    centroid = onsets.column("centroid_hz")
    assert centroid[np.argmin(np.abs(times - 1.0))] < 2500 < 6000 < centroid[np.argmin(np.abs(times - 2.0))]


@pytest.mark.parametrize("rate_hz", [3, 8, 15, 25])
def test_click_train_is_found_click_by_click(rate_hz):
    samples = noise(4.0, 0.001, 9)
    truth = np.arange(1.0, 3.0, 1 / rate_hz)
    for n, at_s in enumerate(truth):
        samples = put(samples, click(0.2, n), at_s)
    _, times, back = onsets_of(samples)
    times = times[back]
    assert np.mean([np.min(np.abs(times - at_s)) < 0.004 for at_s in truth]) > 0.95
    assert len(times) <= len(truth) + 1
    assert np.median(np.diff(times)) == pytest.approx(1 / rate_hz, abs=0.003)


@pytest.mark.parametrize("seed", range(4))
def test_steps_are_no_clicks(seed):
    jet = within(band_noise(4.0, 0.05, 20 + seed, 1000, 14000), 1.5, 3.5)
    _, times, back = onsets_of(noise(4.0, 0.001, seed) + jet)
    # The step may be an onset, but it does not fall back; inside and at its end there is no click.
    assert not back[np.abs(times - 1.5) < 0.1].any()
    assert back.sum() == 0


def test_a_hum_holds_no_clicks_but_perhaps_at_its_start():
    hum = within(tones(4.0, {100.0 * k: 0.05 / k for k in range(1, 16)}, 1), 1.0, 3.0)
    _, times, back = onsets_of(noise(4.0, 0.001, 2) + hum)
    # A rich hum begins with a pulse of its own; from then on its pulses are one sound.
    assert back.sum() <= 1 and not back[np.abs(times - 1.0) > 0.02].any()


def test_a_stroke_in_a_narrow_band_is_found_beside_a_louder_noise():
    """6 dB over the noise in a seventh of the range: less than 1 dB in all."""
    loud = band_noise(4.0, 0.05, 3, 600, 15_000)
    stroke = band_noise(0.03, 0.16, 4, 5000, 5800) * np.exp(-np.arange(960) / 200)
    onsets, times, _ = onsets_of(put(loud, stroke, 2.0))
    row = int(np.argmin(np.abs(times - 2.0)))
    assert abs(times[row] - 2.0) < 0.003
    assert onsets.column("lift_db")[row] > 4.0


def test_click_inside_a_steady_jet_is_found():
    jet = band_noise(4.0, 0.01, 3, 1000, 14000)
    _, times, back = onsets_of(put(jet, click(0.5, 4), 2.0))
    assert np.min(np.abs(times[back] - 2.0)) < 0.003


def test_noise_alone_has_hardly_an_onset():
    _, times, _ = onsets_of(noise(120.0, 0.05, 6))
    assert len(times) <= 2


def test_rows_are_ordered_and_named():
    samples = noise(4.0, 0.001, 9)
    for n, at_s in enumerate((0.4, 1.1, 1.9, 3.3)):
        samples = put(samples, click(0.2, n), at_s)
    onsets, times, _ = onsets_of(samples)
    assert onsets.rows.dtype == np.float32 and onsets.rows.shape == (len(times), len(ONSET_NAMES))
    np.testing.assert_allclose(times[falls_back(onsets)], (0.4, 1.1, 1.9, 3.3), atol=0.003)
    assert np.all(np.diff(times) > 0)
    np.testing.assert_array_equal(onsets.column("time_s"), onsets.rows[:, 0])


def test_finder_alone_does_not_depend_on_blocks():
    rng = np.random.default_rng(3)
    power = rng.uniform(0.5e-6, 2e-6, (3000, len(ENVELOPE_BINS)))
    power[[500, 1200, 1260, 2999]] = 1e-2
    whole = OnsetFinder()
    whole.push(power, last=True)
    for size in (1, 7, 160, 1000):
        parts = OnsetFinder()
        for start in range(0, len(power), size):
            parts.push(power[start : start + size])
        parts.push(np.zeros((0, len(ENVELOPE_BINS))), last=True)
        np.testing.assert_array_equal(parts.table().rows, whole.table().rows)
    assert falls_back(whole.table()).sum() >= 4


def test_click_at_the_very_start_of_the_clip_does_not_crash():
    onsets, _, _ = onsets_of(put(noise(1.0, 0.001, 1), click(0.3, 2), 0.0))
    assert np.isfinite(onsets.rows).all()
    assert RATE_HZ == 32_000
