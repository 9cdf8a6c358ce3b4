"""Gravel on a pump: little of the model's word for it, and a level that is ragged, tell it together."""

import numpy as np
import pytest

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.rough_pumps import hear_rough_pumps
from listen.features.textures import SEGMENT_HOP_S, SEGMENT_S, Segments
from tests.support.signals import RATE_HZ, band_noise, collect, noise, within

DURATION_S = 12.0
LABELS = ("gravel", "clatter", "water_flow")
PUMP = Draft("motor_run", 2.0, 10.0, 0.9)


def crackling(duration_s: float, rate_per_s: float, seed: int = 5) -> np.ndarray:
    """Short bursts of noise by chance, as bubbles collapse, each of another height."""
    rng = np.random.default_rng(seed)
    out = np.zeros(round(duration_s * RATE_HZ))
    for at_s in rng.uniform(0.0, duration_s - 0.1, round(rate_per_s * duration_s)):
        n, at = round(0.01 * RATE_HZ), round(at_s * RATE_HZ)
        out[at : at + n] += rng.exponential(0.08) * rng.standard_normal(n) * np.exp(-np.arange(n) / n * 4)
    return out


def clip(crackles: bool) -> LevelTracks:
    samples = noise(DURATION_S, 0.0005, 1) + within(band_noise(DURATION_S, 0.01, 2, 300, 6000), 2.0, 10.0)
    if crackles:
        samples = samples + within(crackling(DURATION_S, 15.0), 3.0, 10.0)
    return LevelTracks(collect(samples))


def heard(crackles: bool, gravel: float, clatter: float = 0.0, pump: Draft = PUMP, from_s: float = 3.0):
    starts_s = np.arange(0.0, DURATION_S - SEGMENT_S, SEGMENT_HOP_S)
    inside = (starts_s >= from_s - 0.5) & (starts_s < 9.5)
    probability = np.stack([gravel * inside, clatter * inside, 0.02 * np.ones(len(starts_s))], axis=1)
    segments = Segments(np.zeros((len(starts_s), 1)), starts_s)
    return hear_rough_pumps(LABELS, probability, segments, clip(crackles), [pump])


def test_a_little_of_the_word_on_a_ragged_pump_is_gravel():
    (draft,) = heard(True, 0.1)
    assert draft.sound == "gravel" and draft.probability == pytest.approx(0.6)
    assert draft.onset_s == pytest.approx(3.0, abs=0.6) and draft.offset_s == pytest.approx(10.0, abs=0.6)


@pytest.mark.parametrize(
    ("crackles", "gravel", "clatter"),
    [(False, 0.1, 0.0), (True, 0.01, 0.0), (True, 0.1, 0.3)],
)
def test_neither_sign_alone_is_gravel_nor_what_is_likelier_something_else(crackles, gravel, clatter):
    assert heard(crackles, gravel, clatter) == []


def test_a_moment_of_it_or_a_run_too_short_to_tell_is_none():
    assert heard(True, 0.3, from_s=8.0) == []
    assert heard(True, 0.3, pump=Draft("motor_run", 8.0, 9.2, 0.9)) == []


def test_crackling_is_ragged_and_an_even_pump_is_not():
    ragged_db = clip(True).ragged_db(3.0, 9.7)
    assert ragged_db > 2.0 and clip(False).ragged_db(3.0, 9.7) < 1.5


def test_a_model_without_the_word_hears_none():
    assert (
        hear_rough_pumps(
            ("hiss",), np.ones((5, 1)), Segments(np.zeros((5, 1)), np.arange(5.0)), clip(True), [PUMP]
        )
        == []
    )
