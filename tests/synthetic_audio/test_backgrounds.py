"""Backgrounds are made like what they stand for, and the documentation's examples hold."""

import doctest
import importlib
import json
import pkgutil

import numpy as np
import pytest

import synthetic_audio
from synthetic_audio import FAMILIES, draw
from synthetic_audio.randomness import generator
from synthetic_audio.sources import SOURCES
from tests.synthetic_audio import measure

RATE_HZ = 48_000


def _play(source: str, for_s: float, seed: int = 0, **params) -> np.ndarray:
    return SOURCES[source](
        generator(seed, "train", source), RATE_HZ, for_s, {"at_s": 0.0, "mains_hz": 50.0, **params}
    )


def _modulation(wave: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies and power of the envelope at 100 Hz."""
    envelope = np.sqrt((wave[: len(wave) // 480 * 480].astype(float) ** 2).reshape(-1, 480).mean(axis=1))
    power = np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2
    return np.fft.rfftfreq(len(envelope), 0.01), power


@pytest.mark.parametrize("pitch_hz", [110.0, 210.0])
def test_speech_has_syllables_a_pitch_and_formants(pitch_hz):
    wave = _play("speech", 20.0, pitch_hz=pitch_hz, syllables_hz=4.0)
    freqs, power = _modulation(wave)
    # Speech is modulated at the rate of its syllables, some 3-5 a second (common knowledge of phonetics).
    assert power[(freqs > 2) & (freqs < 6)].mean() > 3 * power[(freqs > 12) & (freqs < 40)].mean()
    low, high = measure.density_db(wave, [500.0, 12_000.0])
    assert low > high + 20


def test_music_has_a_beat():
    wave = _play("music", 20.0, tempo_bpm=120.0)
    freqs, power = _modulation(wave)
    beat = power[np.abs(freqs - 1.0) < 0.06].max() + power[np.abs(freqs - 2.0) < 0.06].max()
    assert beat > 8 * np.median(power[(freqs > 0.5) & (freqs < 4)])


@pytest.mark.parametrize("poles", [2, 4])
def test_fridge_slips_so_that_it_is_a_true_impostor(poles):
    motor = {
        "vanes": 5,
        "vane_gain_db": 0.0,
        "shaft_tilt_db": 4.0,
        "body_hz": 250.0,
        "flow_db": -8.0,
        "flow_peak_hz": 600.0,
    }
    wave = _play("fridge", 6.0, poles=poles, slip=0.05, **motor)
    fr = 100 / poles * 0.95
    assert measure.strongest_line_hz(wave, 0.85 * fr, 1.1 * fr) == pytest.approx(fr, abs=0.15)


def test_fan_is_broad_with_a_slipping_blade_pass():
    wave = _play("fan", 8.0, poles=4, slip=0.04, blades=7, flow_peak_hz=400.0)
    assert measure.strongest_line_hz(wave, 150, 190) == pytest.approx(7 * 25 * 0.96, abs=0.4)
    assert np.ptp(measure.density_db(wave, [300.0, 600.0, 1200.0])) < 12


def test_grinder_covers_what_clicks_are_made_of():
    wave = _play("grinder", 5.0, shaft_hz=23.5, teeth=8)
    levels = measure.density_db(wave, [500.0, 1500.0, 4000.0, 8000.0])
    assert levels.max() - levels.min() < 35
    assert 500 < measure.centroid_hz(wave) < 6000


def test_clatter_rings_longer_than_any_click():
    wave = _play("clatter", 0.02, seed=3)
    level = measure.level_db(wave, 0.005)
    fell = np.flatnonzero(level > level.max() - 30)[-1] / RATE_HZ
    assert 0.02 < fell < 0.3
    assert 1000 < measure.centroid_hz(wave) < 8000


def test_knock_is_low_and_hard():
    wave = _play("knock_box", 0.2, low_hz=80.0)
    freqs, power = np.fft.rfftfreq(len(wave), 1 / RATE_HZ), np.abs(np.fft.rfft(wave)) ** 2
    assert power[freqs < 400].sum() > 0.5 * power.sum()
    assert power[(freqs > 500) & (freqs < 3000)].sum() > 0.005 * power.sum()


def test_room_tone_falls_with_frequency():
    levels = measure.density_db(_play("room_tone", 8.0, fall_db=4.0), [250.0, 500.0, 1000.0, 2000.0, 4000.0])
    np.testing.assert_allclose(np.diff(levels), -4.0, atol=0.8)


def test_every_spec_is_plain_json():
    for family in FAMILIES:
        for seed in range(6):
            spec = draw(seed, family, "held_out" if seed % 2 else "train")
            assert json.loads(json.dumps(spec.to_dict()))["family"] == family


def test_examples_in_docstrings_hold():
    tried = 0
    for module in pkgutil.walk_packages(synthetic_audio.__path__, "synthetic_audio."):
        result = doctest.testmod(importlib.import_module(module.name))
        assert result.failed == 0, module.name
        tried += result.attempted
    assert tried >= 6
