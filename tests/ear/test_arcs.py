"""Arcs under a running pump and alone: noise that comes twice a cycle, and nothing else."""

import numpy as np
import pytest

from listen.ear.arcs import confirm_arcs, hear_arcs
from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from tests.support.signals import RATE_HZ, band_noise, collect, comb, motor, noise, tones, within

DURATION_S = 14.0
PUMP = Draft("stroke_train", 2.0, 12.0, 0.9)
MOTOR = Draft("motor_run", 2.0, 12.0, 0.9)


def beating(hz, rms=0.02, seed=3, low_hz=5000.0):
    """Noise that strikes anew `hz` times a second, as between contacts."""
    t = np.arange(round(DURATION_S * RATE_HZ)) / RATE_HZ
    return band_noise(DURATION_S, rms, seed, low_hz, 15_500) * (1.0 + np.cos(2 * np.pi * hz * t)) ** 2 / 1.5


def strokes():
    """A pump whose noise comes once a cycle."""
    return within(tones(DURATION_S, comb(50.0, range(1, 16), 0.03), 2), 2.0, 12.0) + within(
        beating(50.0, 0.003, 5), 2.0, 12.0
    )


def arcs(samples, pump=PUMP, beating=()):
    pumps = [pump] if pump else []
    return hear_arcs(LevelTracks(collect(samples + noise(DURATION_S, 0.001, 1))), pumps, beating)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_an_arc_that_joins_a_pump_is_heard(mains_hz):
    (draft,) = arcs(strokes() + within(beating(2.0 * mains_hz), 5.0, 8.0))
    assert draft.sound == "arcing" and draft.probability == pytest.approx(0.6)
    assert draft.onset_s == pytest.approx(5.0, abs=0.6) and draft.offset_s == pytest.approx(8.0, abs=0.6)
    assert draft.measures["level_db"] > 5.0


def test_a_pump_alone_is_no_arc():
    assert arcs(strokes()) == []


def test_a_hiss_or_a_beat_at_no_multiple_of_the_mains_that_joins_it_is_no_arc():
    assert arcs(strokes() + within(band_noise(DURATION_S, 0.02, 4, 5000, 15_500), 5.0, 8.0)) == []
    assert arcs(strokes() + within(beating(87.0), 5.0, 8.0)) == []


def test_under_a_motor_the_beat_alone_tells_but_not_in_gravel():
    turning = within(tones(DURATION_S, motor(50, 4, 0.05, 0.05), 7), 2.0, 12.0)
    turning = turning + within(band_noise(DURATION_S, 0.02, 8, 300, 15_500), 2.0, 12.0)
    faint = turning + within(beating(100.0, 0.006), 4.0, 8.0)
    assert [d.sound for d in arcs(faint, MOTOR)] == ["arcing"]
    assert arcs(turning, MOTOR) == []
    assert arcs(faint, MOTOR, [Draft("gravel", 4.0, 8.0, 0.9)]) == []
    # A pump of strokes beats by itself.
    assert arcs(faint, PUMP) == []


def test_what_beats_while_a_coil_buzzes_on_is_the_coils():
    samples = strokes() + within(beating(100.0), 5.0, 8.0)
    assert arcs(samples, PUMP, [Draft("mains_buzz", 2.0, 12.0, 0.9)]) == []
    fridge = Draft("motor_run", 0.0, 14.0, 0.9)
    levels = LevelTracks(collect(strokes() + noise(DURATION_S, 0.001, 1)))
    assert hear_arcs(levels, [fridge, PUMP], ()) == []
    # An arc itself may be taken for a buzz as well.
    assert [d.sound for d in arcs(samples, PUMP, [Draft("mains_buzz", 5.0, 8.0, 0.9)])] == ["arcing"]


def test_a_run_too_short_to_compare_says_nothing():
    assert arcs(strokes(), Draft("stroke_train", 2.0, 3.5, 0.9)) == []
    assert hear_arcs(LevelTracks(collect(np.zeros(100))), [PUMP], []) == []


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_an_arc_alone_is_heard_whatever_its_colour(mains_hz):
    for low_hz in (4500.0, 9000.0):
        (draft,) = arcs(within(beating(2.0 * mains_hz, low_hz=low_hz), 5.0, 8.0), None)
        assert draft.onset_s == pytest.approx(5.0, abs=0.6) and draft.offset_s == pytest.approx(8.0, abs=0.6)


def test_what_beats_once_a_cycle_or_all_the_time_or_belongs_to_a_coil_is_no_arc():
    assert arcs(within(beating(50.0), 5.0, 8.0), None) == []
    assert arcs(beating(100.0), None) == []
    assert arcs(within(band_noise(DURATION_S, 0.02, 4, 5000, 15_500), 5.0, 8.0), None) == []
    buzz = Draft("mains_buzz", 4.9, 8.1, 0.9)
    assert arcs(within(beating(100.0), 5.0, 8.0), None, [buzz]) == []


def test_what_begins_and_ends_with_a_second_motor_is_that_motors_own():
    """A refrigerator turns all along; beside it a pump starts and stops whose noise beats."""
    samples = within(tones(DURATION_S, motor(50, 4, 0.05, 0.05), 7), 1.0, 13.0) + noise(DURATION_S, 0.001, 1)
    levels = LevelTracks(collect(samples + within(beating(100.0, 0.01), 4.0, 9.0)))
    fridge, pump = Draft("motor_run", 1.0, 13.0, 0.9), Draft("motor_run", 3.9, 9.1, 0.9)
    assert [d.sound for d in hear_arcs(levels, [fridge], [])] == ["arcing"]
    assert hear_arcs(levels, [fridge, pump], []) == []


@pytest.mark.parametrize(
    ("samples", "sure"),
    [
        (within(beating(100.0, 0.004), 5.0, 8.0), True),
        (within(beating(50.0, 0.004), 5.0, 8.0), False),
        (beating(100.0, 0.004), False),
        (within(band_noise(DURATION_S, 0.004, 4, 5000, 15_500), 5.0, 8.0), False),
    ],
)
def test_an_arc_that_is_hardly_named_is_sure_where_it_beats_as_one_too(samples, sure):
    """The model's word and the beat of the mains are signs of different kinds."""
    levels = LevelTracks(collect(samples + noise(DURATION_S, 0.001, 1)))
    named, plain = Draft("arcing", 5.0, 8.0, 0.55), Draft("arcing", 5.0, 8.0, 0.9)
    confirm_arcs(levels, [named, plain])
    assert named.probability == (0.6 if sure else 0.55) and plain.probability == 0.9


@pytest.mark.parametrize(("rms", "doubted"), [(0.02, False), (0.001, True)])
def test_an_arc_that_is_hardly_named_and_neither_beats_nor_rises_is_doubted(rms, doubted):
    samples = within(band_noise(DURATION_S, rms, 4, 5000, 15_500), 5.0, 8.0) + noise(DURATION_S, 0.001, 1)
    named, plain = Draft("arcing", 4.6, 8.4, 0.55), Draft("arcing", 5.0, 8.0, 0.9)
    found = confirm_arcs(LevelTracks(collect(samples)), [named, plain])
    assert [d is named for d in found] == [True] * doubted


def test_a_clip_too_short_to_beat_confirms_nothing():
    named = Draft("arcing", 0.0, 0.1, 0.55)
    assert confirm_arcs(LevelTracks(collect(np.zeros(100))), [named]) == []
    assert named.probability == 0.55
