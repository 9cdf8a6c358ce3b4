"""A household's sounds, of many makings, strewn over a scene for training."""

import collections
import importlib
import json

import numpy as np
import pytest

from synthetic_audio import RATE_HZ, SOUNDS, draw, render, sprinkle
from synthetic_audio.sources import PEAK, SOURCES
from synthetic_audio.sprinkle_household import LASTING_DB, MAKINGS, SHORT_DB, household

SCENE = draw(11, family="normal_brew", background="none", phone=False)
ALL = [(word, making) for word, makings in MAKINGS.items() for making in makings]
#: How many structurally different makings a word has at least.
AT_LEAST = {"fan": 3, "grinder": 3, "thump": 3, "water_flow": 3}


def numbers(making, seed, where="drawn"):
    """Parameters of a making: drawn, or all at one end of their ranges."""
    rng = np.random.default_rng(seed)
    ranges = next(makings[making] for makings in MAKINGS.values() if making in makings)
    place = {"drawn": rng.random, "low": lambda: 0.0, "high": lambda: 1.0}[where]
    return {name: float(low * (high / low) ** place()) for name, (low, high) in ranges.items()}


def played(making, seed, for_s, where="drawn"):
    params = {"mains_hz": 50.0, "at_s": 0.0, **numbers(making, seed, where)}
    return SOURCES[making](np.random.default_rng(seed), RATE_HZ, for_s, params)


def drawn(count, duration_s=15.0):
    return [event for seed in range(count) for event in household(np.random.default_rng(seed), duration_s)]


def centre_hz(wave):
    """Return the middle of a sound's energy."""
    power = np.cumsum(np.abs(np.fft.rfft(wave)) ** 2)
    return float(np.searchsorted(power, 0.5 * power[-1]) * RATE_HZ / len(wave))


@pytest.mark.parametrize(("word", "making"), ALL)
def test_every_making_plays_and_plays_the_same_again(word, making):
    for seed, for_s, where in ((0, 1.5, "drawn"), (1, 0.4, "drawn"), (2, 1.0, "low"), (3, 1.0, "high")):
        wave = played(making, seed, for_s, where)
        assert wave.dtype == np.float32 and np.isfinite(wave).all()
        assert np.sqrt(np.mean(wave**2)) > 1e-4
        np.testing.assert_array_equal(wave, played(making, seed, for_s, where))
    assert not np.array_equal(played(making, 4, 0.5), played(making, 5, 0.5))
    # What lasts is as long as it is asked to be.
    if word not in {"thump", "clatter"}:
        assert len(played(making, 6, 0.7)) == int(0.7 * RATE_HZ)


def test_every_word_is_of_the_vocabulary_and_has_several_makings():
    assert set(MAKINGS) <= set(SOUNDS)
    for word, makings in MAKINGS.items():
        assert len(makings) >= AT_LEAST.get(word, 2)
        assert len({SOURCES[making] for making in makings}) == len(makings)
        assert all((making in PEAK) == (word in {"thump", "clatter"}) for making in makings)


def test_all_is_drawn_with_its_word_within_its_ranges():
    events = drawn(150)
    assert {(e.sound, e.source) for e in events} >= set(ALL)
    for event in events:
        assert json.loads(json.dumps(event.params)) == event.params
        if event.source == "scuff":
            assert event.sound is None
            continue
        ranges = MAKINGS[event.sound][event.source]
        assert set(event.params) == set(ranges)
        assert all(low <= event.params[name] <= high for name, (low, high) in ranges.items())
        low_db, high_db = SHORT_DB if event.source in PEAK else LASTING_DB
        assert low_db - 12 <= event.level_db <= high_db


def test_household_things_stand_in_the_room_and_many_go_on_beyond_the_clip():
    events = [e for e in drawn(150) if e.source not in PEAK and e.sound]
    where = collections.Counter(e.where for e in events)
    assert where["room"] > 0.6 * len(events)
    assert not any(e.where == "machine" for e in events if e.sound in {"fan", "grinder", "speech", "music"})
    for word in ("hiss", "boil", "fan"):
        of_word = [e for e in events if e.sound == word]
        assert np.mean([e.at_s < 0 and e.at_s + e.for_s > 15.0 for e in of_word]) > 0.5
    assert all(1 <= sum(e.source not in PEAK and e.sound is not None for e in
                        household(np.random.default_rng(seed), 8.0)) <= 2 for seed in range(30))  # fmt: skip


@pytest.mark.parametrize("duration_s", (0.5, 1.2, 40.0))
def test_any_length_of_scene_is_served(duration_s):
    for event in drawn(40, duration_s):
        assert event.for_s > 0 and event.at_s < duration_s and event.at_s + event.for_s > 0


def test_what_a_scene_had_before_stays_as_it_was(monkeypatch):
    module = importlib.import_module("synthetic_audio.sprinkle")
    share = 0
    for seed in range(60):
        rngs = [np.random.default_rng(seed) for _ in range(2)]
        more = sprinkle(SCENE, rngs[0]).events
        with monkeypatch.context() as patch:
            patch.setattr(module, "_HOUSEHOLDS", 0.0)
            before = sprinkle(SCENE, rngs[1]).events
        assert more[: len(before)] == before
        # Nor does what is drawn after it know of it.
        assert rngs[0].random() == rngs[1].random()
        share += len(more) > len(before)
    assert 0.25 < share / 60 < 0.65


def test_a_scene_renders_with_its_household_and_says_so():
    for seed in range(3):
        events = tuple(household(np.random.default_rng(seed), SCENE.duration_s))
        scene = render(type(SCENE)(**{**{k: getattr(SCENE, k) for k in SCENE.__slots__}, "events": events}))
        assert np.isfinite(scene.samples).all()
        assert {e.sound for e in events if e.sound} == {label.sound for label in scene.labels}


def test_a_jug_that_fills_sounds_ever_higher():
    params = numbers("water_filling", 0) | {
        "deep_m": 0.2, "filled": 0.8, "ring": 3.0, "width_hz": 20.0, "tilt_db": 1.0, "rough_db": 0.5
    }  # fmt: skip
    wave = SOURCES["water_filling"](np.random.default_rng(1), RATE_HZ, 6.0, params)
    assert centre_hz(wave[:RATE_HZ]) < 0.7 * centre_hz(wave[-RATE_HZ:])


def test_a_thump_is_low_and_a_hiss_is_high():
    thumps = [centre_hz(played(making, s, 0.2)) for making in MAKINGS["thump"] for s in range(8)]
    hisses = [centre_hz(played(making, s, 1.0)) for making in MAKINGS["hiss"] for s in range(4)]
    assert np.median(thumps) < 350 and min(hisses) > 1200
