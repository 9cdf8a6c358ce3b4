"""What stands around a segment or an onset: the pauses, the steady share, beats at the mains, never the level."""

import numpy as np
import pytest

from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS, stroke_inputs, texture_inputs
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.onsets import ONSET_INPUTS
from listen.features.starts import START_NAMES
from listen.features.textures import segment_textures
from tests.support.signals import RATE_HZ, band_noise, click, collect, noise, put, within

DURATION_S = 16.0


def textures_of(samples):
    features = collect(samples)
    segments = segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))
    return texture_inputs(features, segments), segments


def column(values, name):
    return values[:, TEXTURE_INPUTS.index(name)]


def beating(rate_hz, duration_s=DURATION_S, seed=3, jitter=0.0):
    """Noise that comes in short puffs, `rate_hz` a second; `jitter` in periods."""
    wave, out = band_noise(duration_s, 0.05, seed, 4500, 14_000), np.zeros(round(duration_s * RATE_HZ))
    rng = np.random.default_rng(seed)
    for n in range(int(duration_s * rate_hz)):
        at = int((n + jitter * rng.random()) / rate_hz * RATE_HZ)
        out[at : at + RATE_HZ // 500] = wave[at : at + RATE_HZ // 500]
    return out


def test_names_are_unique_and_as_many_as_columns():
    values, segments = textures_of(noise(DURATION_S, 0.01, 1))
    assert len(set(TEXTURE_INPUTS)) == len(TEXTURE_INPUTS) == values.shape[1]
    assert len(set(STROKE_INPUTS)) == len(STROKE_INPUTS) == len(ONSET_INPUTS) + len(START_NAMES)
    assert TEXTURE_INPUTS[: len(TEXTURE_NAMES)] == TEXTURE_NAMES
    np.testing.assert_array_equal(values[:, : len(TEXTURE_NAMES)], segments.values)
    assert values.dtype == np.float32 and np.isfinite(values).all()


def test_the_pauses_of_a_voice_show_what_runs_behind_it():
    water = band_noise(DURATION_S, 0.004, 2, 1500, 3000)
    talk = sum(
        within(band_noise(DURATION_S, 0.05, 5 + n, 300, 1000), at, at + 0.5)
        for n, at in enumerate((3, 4, 5, 6, 7))
    )
    values, segments = textures_of(noise(DURATION_S, 0.0002, 1) + water + talk)
    speaking = int(np.argmin(np.abs(segments.starts_s - 5.0)))
    own, pauses = column(values, "shape_2k_db")[speaking], column(values, "around_4_s_10_2k_db")[speaking]
    assert own < -18 and pauses > -8
    assert column(values, "around_4_s_10_level_db")[speaking] < -10


def test_the_surroundings_of_steady_noise_are_like_itself():
    values, _ = textures_of(noise(DURATION_S, 0.01, 4))
    for name in ("around_4_s_50_level_db", "around_4_s_10_level_db", "around_12_s_10_level_db"):
        assert np.abs(column(values, name)).max() < 3
    np.testing.assert_allclose(column(values, "around_4_s_50_1k_db"), column(values, "shape_1k_db"), atol=2.5)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_an_arc_beats_twice_a_cycle(mains_hz):
    quiet = noise(DURATION_S, 0.0002, 1)
    values, _ = textures_of(quiet + beating(2 * mains_hz, jitter=0.2))
    assert np.median(column(values, "beat_2f")) > 0.3 > 2 * np.median(column(values, "beat_1f"))
    # As many puffs that keep no time are no arc, however many they are.
    uneven, _ = textures_of(quiet + beating(2 * mains_hz, jitter=3.0))
    assert np.median(column(uneven, "beat_2f")) < 0.15


def test_beats_keep_their_time_over_a_segment():
    """A rate a few hertz off the mains loses its phase within a second."""
    quiet = noise(DURATION_S, 0.0002, 1)
    true, off = (np.median(column(textures_of(quiet + beating(hz))[0], "beat_2f")) for hz in (100.05, 107.0))
    assert true > 3 * off


def test_gain_changes_nothing():
    samples = noise(DURATION_S, 0.002, 6) + within(band_noise(DURATION_S, 0.02, 7, 2000, 9000), 4.0, 9.0)
    samples = put(samples, click(0.25, 8), 6.5)
    one, other = (textures_of(samples * gain)[0] for gain in (1.0, 0.1))
    # How far lines stand out depends on the floor of the numbers (shaft and locked lines); nothing else may move.
    kept = [n for n, name in enumerate(TEXTURE_INPUTS) if "shaft" not in name and "locked" not in name]
    np.testing.assert_allclose(one[:, kept], other[:, kept], atol=0.1)
    one, other = (stroke_inputs(collect(samples * gain)) for gain in (1.0, 0.1))
    np.testing.assert_allclose(one, other, atol=0.2)


def test_a_stroke_that_starts_something_differs_from_one_that_does_not():
    quiet = put(put(noise(DURATION_S, 0.001, 9), click(0.25, 1), 5.0), click(0.25, 1), 11.0)
    running = quiet + within(band_noise(DURATION_S, 0.01, 10, 200, 900), 5.02, 10.0)
    features = collect(running)
    rows, times = stroke_inputs(features), features.onsets.column("time_s")
    later = STROKE_INPUTS.index("around_over_2_18_28_db")
    starts, lone = (rows[np.argmin(np.abs(times - at_s)), later] for at_s in (5.0, 11.0))
    assert starts > 15 > 5 > abs(lone)


@pytest.mark.parametrize("duration_s", [0.02, 0.3, 0.9])
def test_very_short_clips(duration_s):
    samples = noise(duration_s, 0.01, 13)
    values, segments = textures_of(samples)
    assert values.shape == (len(segments.values), len(TEXTURE_INPUTS)) and np.isfinite(values).all()
    assert stroke_inputs(collect(samples)).shape[1] == len(STROKE_INPUTS)
