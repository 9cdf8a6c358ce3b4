"""Sounds from outside the kitchen: bands, rates and swells as drawn, the same twice, labelled as background."""

import numpy as np
import pytest
from scipy.signal import find_peaks
from scipy.stats import kurtosis

from synthetic_audio import draw, render
from synthetic_audio.randomness import generator
from synthetic_audio.sources import SOURCES
from synthetic_audio.surroundings import WORDS
from tests.synthetic_audio import measure

RATE_HZ = 48_000
PLAIN = {
    "rain": {"peak_hz": 3000.0, "drops_hz": 40.0, "drop_gain": 1.0},
    "wind": {"peak_hz": 400.0, "swell": 0.6, "swell_hz": 0.5},
    "crackle": {"pops_hz": 8.0},
    "engine": {"beat_hz": 30.0, "wander": 0.005, "sharpness": 3.0, "peak_hz": 900.0, "noise": 0.5},
    "calls": {"pitch_hz": 440.0, "call_s": 0.6, "pause_s": 0.8},
    "crowd": {"people": 5},
}


def _play(source: str, for_s: float, seed: int = 0, **changed) -> np.ndarray:
    values = {"at_s": 0.0, "mains_hz": 50.0, **PLAIN[source], **changed}
    return SOURCES[source](generator(seed, "train", source), RATE_HZ, for_s, values)


def _swing_db(wave: np.ndarray, window_s: float = 0.25) -> float:
    """Spread of the level over time: 90th less 10th percentile."""
    level = measure.level_db(wave, window_s)[RATE_HZ // 4 : -RATE_HZ // 4]
    return float(np.subtract(*np.percentile(level, [90, 10])))


@pytest.mark.parametrize("source", PLAIN)
def test_same_draw_same_sound_and_of_the_asked_length(source):
    first, again, other = _play(source, 3.0), _play(source, 3.0), _play(source, 3.0, seed=1)
    assert first.dtype == np.float32 and len(first) == 3 * RATE_HZ
    assert np.isfinite(first).all() and first.std() > 0
    np.testing.assert_array_equal(first, again)
    assert np.abs(first - other).max() > 0.1 * first.std()


@pytest.mark.parametrize("peak_hz", [1000.0, 5000.0])
def test_rain_lies_where_it_was_drawn_and_is_even(peak_hz):
    wave = _play("rain", 8.0, peak_hz=peak_hz, drop_gain=0.2)
    at, below, above = measure.density_db(wave, [peak_hz, peak_hz / 8, min(8 * peak_hz, 20_000.0)])
    assert at > below + 6 and at > above + 3
    assert _swing_db(wave) < 6


def test_power_of_drops_goes_with_their_rate():
    """Campbell's theorem on shot noise: the power of single blows is proportional to how many fall a second."""

    def drops(drops_hz):
        return _play("rain", 30.0, drops_hz=drops_hz) - _play("rain", 30.0, drops_hz=drops_hz, drop_gain=0.0)

    few, many = drops(10.0), drops(80.0)
    # Sizes scatter widely, so that 300 drops tell their power within a factor of two.
    assert 4 < np.mean(many**2) / np.mean(few**2) < 16
    assert kurtosis(few) > kurtosis(many) > 3


def test_wind_is_low_and_swells_within_seconds():
    wave = _play("wind", 20.0)
    low, high = measure.density_db(wave, [300.0, 6000.0])
    assert low > high + 12
    assert _swing_db(wave) > _swing_db(_play("wind", 20.0, swell=0.0)) + 3


@pytest.mark.parametrize("pops_hz", [4.0, 16.0])
def test_fire_pops_as_often_as_drawn(pops_hz):
    wave = _play("crackle", 30.0, pops_hz=pops_hz)
    level = measure.level_db(wave, 0.001)[::48]
    peaks, _ = find_peaks(level, height=np.median(level) + 12, distance=15, prominence=8)
    # The smallest pops drown in the roar and some fall together: between half and all of them.
    assert 0.5 * pops_hz < len(peaks) / 30.0 < 1.2 * pops_hz


def test_pops_stand_over_a_low_roar():
    wave = _play("crackle", 10.0, pops_hz=0.001)
    assert measure.centroid_hz(wave) < 1500
    assert kurtosis(_play("crackle", 10.0)) > 10


@pytest.mark.parametrize("beat_hz", [25.0, 60.0])
def test_engine_beats_at_its_rate_and_its_multiples(beat_hz):
    wave = _play("engine", 10.0, beat_hz=beat_hz, wander=0.0, noise=0.2)
    for k in (1, 2, 3):
        # A clip of 10 s resolves 0.1 Hz.
        found = measure.strongest_line_hz(wave, (k - 0.4) * beat_hz, (k + 0.4) * beat_hz)
        assert found == pytest.approx(k * beat_hz, abs=0.1)


def test_engine_that_wanders_is_locked_to_nothing():
    steady, loose = (_play("engine", 10.0, wander=w, noise=0.2) for w in (0.0, 0.08))

    def share(wave):
        freqs, power = measure.fine_spectrum(wave)
        near = np.abs(freqs - 30.0) < 6
        return power[near].max() / power[near].sum()

    assert share(loose) < 0.5 * share(steady)


def test_calls_have_a_pitch_and_pauses():
    wave = _play("calls", 12.0, pause_s=1.2)
    level = measure.level_db(wave, 0.05)
    assert 0.15 < np.mean(level < level.max() - 40) < 0.9
    freqs, power = measure.fine_spectrum(wave)
    # Each call glides within an octave and a half about its pitch; below that is nothing.
    assert power[freqs < 440 / 3].sum() < 0.01 * power.sum()
    assert power[(freqs > 440 / 2) & (freqs < 12_000)].sum() > 0.9 * power.sum()


def test_crowd_is_evener_than_a_voice():
    assert _swing_db(_play("crowd", 10.0, people=7)) < _swing_db(_play("crowd", 10.0, people=1)) - 3


@pytest.mark.parametrize("name", PLAIN)
def test_in_a_scene_it_is_labelled_as_background_over_the_whole_clip(name):
    scene = render(draw(7, "no_machine", background=name, duration_s=6.0))
    mine = [x for x in scene.labels if x.sound == WORDS[name]]
    assert mine and all(x.source == "background" for x in mine)
    assert WORDS[name] == ("speech" if name == "crowd" else "other")
    assert sum(x.offset_s - x.onset_s for x in mine) > 5.5
    assert scene.verdict == "cannot_tell" and not scene.deciding
    assert {x.sound for x in scene.labels} == {WORDS[name]}


def test_its_level_is_that_of_the_other_backgrounds():
    """Drawn at -50 to -30 dB re full scale, 6 dB more where no machine is: never louder than a grinder may be."""
    for seed in range(8):
        for name in PLAIN:
            event = next(
                e
                for e in draw(seed, "no_machine", background=name, duration_s=6.0).events
                if e.source == name
            )
            assert -44 <= event.level_db <= -24
