"""Hums, buzzes, pumps and motors from synthesised lines: the right word, at the right time."""

import numpy as np
import pytest

from listen.ear.draft import Draft
from listen.ear.tones import _mended, _shaft_hz, hear_tones
from listen.features.mains import comb_tracks, estimate_mains
from tests.support.signals import RATE_HZ, band_noise, collect, comb, motor, noise, tones, within

DURATION_S = 14.0
ON_S, OFF_S = 4.0, 10.0
#: Hums, pumps and motors are placed within this, s.
COLLAR_S = 0.2


def heard(samples, given_hz=None):
    features = collect(samples)
    mains = estimate_mains(features.lines, given_hz)
    return hear_tones(features, comb_tracks(features.lines, mains), mains)


def between(amplitudes, seed=1, on_s=ON_S, off_s=OFF_S, duration_s=DURATION_S):
    return within(tones(duration_s, amplitudes, seed), on_s, off_s) + noise(duration_s, 0.002, seed + 1)


def only(drafts, sound):
    found = [d for d in drafts if d.sound == sound]
    assert len(found) == 1, [(d.sound, d.onset_s, d.offset_s) for d in drafts]
    return found[0]


def assert_placed(draft, on_s=ON_S, off_s=OFF_S):
    assert draft.onset_s == pytest.approx(on_s, abs=COLLAR_S)
    assert draft.offset_s == pytest.approx(off_s, abs=COLLAR_S)
    assert not draft.open_start and not draft.open_end
    assert 0.5 <= draft.probability <= 0.97


def half_wave_pump(mains_hz):
    """One stroke a cycle: all multiples, falling slowly (common practice)."""
    return comb(mains_hz, range(1, 16), 0.03)


def buzzing_coil(mains_hz):
    """An armature that does not seat strikes twice a cycle: many multiples of 2f (common practice)."""
    return comb(2 * mains_hz, range(1, 13), 0.03, tilt=0.2)


def humming_coil(mains_hz):
    return comb(2 * mains_hz, (1, 2, 3), 0.03, tilt=1.5)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_stroke_train(mains_hz):
    drafts = heard(between(half_wave_pump(mains_hz)))
    draft = only(drafts, "stroke_train")
    assert_placed(draft)
    assert draft.measures["strokes_hz"] == pytest.approx(mains_hz, abs=0.3)
    assert draft.measures["lines"] >= 10 and draft.measures["level_db"] > 10
    assert draft.measures["missing_fraction"] < 0.35
    # What a running pump hums is the pump's own.
    assert {d.sound for d in drafts} == {"stroke_train"}


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_mains_hum(mains_hz):
    drafts = heard(between(humming_coil(mains_hz)), given_hz=mains_hz)
    draft = only(drafts, "mains_hum")
    assert_placed(draft)
    assert draft.measures["line_hz"] == pytest.approx(2 * mains_hz, abs=0.3)
    assert draft.measures["level_db"] > 14
    assert {d.sound for d in drafts} == {"mains_hum"}


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_mains_buzz(mains_hz):
    drafts = heard(between(buzzing_coil(mains_hz)))
    draft = only(drafts, "mains_buzz")
    assert_placed(draft)
    assert draft.measures["lines"] >= 6
    assert draft.measures["line_hz"] == pytest.approx(
        2 * mains_hz * round(draft.measures["line_hz"] / 2 / mains_hz), abs=0.3
    )
    assert "stroke_train" not in {d.sound for d in drafts} and "motor_run" not in {d.sound for d in drafts}


@pytest.mark.parametrize(("lead_db", "sound"), [(7.0, "stroke_train"), (12.0, "mains_buzz")])
def test_a_pump_whose_even_multiples_lead_a_little_still_strikes_once_a_cycle(lead_db, sound):
    """A coil pulls twice a cycle: its odd multiples lie far under the even ones (common practice)."""
    odd, even = comb(50, range(1, 24, 2), 0.01), comb(50, range(2, 25, 2), 0.01 * 10 ** (lead_db / 20))
    assert {
        d.sound for d in heard(between({**odd, **even})) if d.sound in ("stroke_train", "mains_buzz")
    } == {sound}


@pytest.mark.parametrize(
    "mains_hz, poles, slip", [(50, 4, 0.05), (50, 2, 0.03), (60, 4, 0.03), (60, 2, 0.08), (60, 6, 0.05)]
)
def test_motor_run(mains_hz, poles, slip):
    draft = only(heard(between(motor(mains_hz, poles, slip, 0.02)), given_hz=mains_hz), "motor_run")
    assert_placed(draft)
    assert draft.measures["shaft_hz"] == pytest.approx(2 * mains_hz / poles * (1 - slip), abs=0.3)
    assert draft.measures["slip"] == pytest.approx(slip, abs=0.006)
    assert draft.measures["poles"] == poles
    assert draft.measures["lines"] >= 3 and draft.measures["level_db"] > 6


def test_the_rate_of_a_shaft_is_that_of_most_windows():
    """A comb fits half its rate and a third of it as well: their middle is no rate of anything."""
    assert _shaft_hz(np.array([49.2, 24.6, 16.4, np.nan, 49.2, 24.6, 49.3, 16.4])) == pytest.approx(49.2)
    assert _shaft_hz(np.array([24.1, 24.2, 24.0, 48.3])) == pytest.approx(24.1)
    assert np.isnan(_shaft_hz(np.full(3, np.nan)))


def test_motor_without_known_mains_states_no_slip():
    draft = only(heard(between(motor(50, 4, 0.05, 0.02))), "motor_run")
    assert draft.measures["shaft_hz"] == pytest.approx(23.75, abs=0.3)
    assert "slip" not in draft.measures and "poles" not in draft.measures


def test_stalled_motor_is_a_hum_that_does_not_run():
    # Locked rotor: only multiples of 2f are left (any electrical handbook).
    drafts = heard(between(comb(100.0, (1, 2, 3, 4), 0.03, tilt=1.0)), given_hz=50)
    assert "motor_run" not in {d.sound for d in drafts}
    assert_placed(only(drafts, "mains_hum"))


@pytest.mark.parametrize(
    "lines, shaft_hz", [({}, None), ({49.0: 0.01}, 49.0), ({49.0: 0.001}, None), ({52.5: 0.01}, None)]
)
def test_a_hum_with_a_single_line_where_a_shaft_turns_says_so(lines, shaft_hz):
    # Two poles at 50 Hz turn 50 times a second less their slip; a comb is more than one line.
    draft = only(heard(between(comb(100.0, (1, 2, 3, 4), 0.03, tilt=1.0) | lines), given_hz=50), "mains_hum")
    assert draft.measures.get("shaft_hz") == (shaft_hz and pytest.approx(shaft_hz, abs=0.1))


def test_a_line_that_was_there_before_the_hum_is_not_its_shaft():
    refrigerator = tones(DURATION_S, {49.0: 0.01}, 7)
    hum = between(comb(100.0, (1, 2, 3, 4), 0.03, tilt=1.0), on_s=6.0, off_s=12.0)
    assert "shaft_hz" not in only(heard(hum + refrigerator, given_hz=50), "mains_hum").measures


def test_sound_that_fills_the_clip_is_open_on_both_sides():
    draft = only(heard(between(half_wave_pump(50), on_s=-1, off_s=20)), "stroke_train")
    assert draft.open_start and draft.open_end
    assert (draft.onset_s, draft.offset_s) == (0.0, DURATION_S)


def test_sound_that_runs_on_is_open_at_the_end():
    draft = only(heard(between(half_wave_pump(60), off_s=20)), "stroke_train")
    assert draft.open_end and not draft.open_start
    assert draft.onset_s == pytest.approx(ON_S, abs=COLLAR_S)


def test_two_runs_are_two():
    samples = between(half_wave_pump(50), on_s=3, off_s=7, duration_s=20) + within(
        tones(20.0, half_wave_pump(50), 7), 12.0, 17.0
    )
    found = sorted((d.onset_s, d.offset_s) for d in heard(samples) if d.sound == "stroke_train")
    np.testing.assert_allclose(found, [(3, 7), (12, 17)], atol=COLLAR_S)


def test_pump_over_a_coil_that_hums_all_the_time():
    samples = tones(DURATION_S, comb(100.0, (1, 2), 0.005, tilt=1.0), 3) + between(half_wave_pump(50))
    drafts = heard(samples)
    draft = only(drafts, "stroke_train")
    assert draft.onset_s == pytest.approx(ON_S, abs=COLLAR_S) and draft.offset_s == pytest.approx(
        OFF_S, abs=COLLAR_S
    )


@pytest.mark.parametrize("seed", range(3))
def test_noise_says_nothing(seed):
    assert heard(noise(DURATION_S, 0.05, seed)) == []


@pytest.mark.parametrize("duration_s", [0.5, 1.0, 2.0])
def test_short_clips_do_not_crash(duration_s):
    samples = tones(duration_s, half_wave_pump(50), 1) + noise(duration_s, 0.002, 2)
    for draft in heard(samples, given_hz=50):
        assert 0.0 <= draft.onset_s < draft.offset_s <= duration_s + 2.1


@pytest.mark.parametrize(
    "hz, duration_s, sound", [(2700.0, 0.4, "beep"), (3000.0, 3.0, "squeal"), (1200.0, 2.0, "squeal")]
)
def test_narrow_tones(hz, duration_s, sound):
    samples = between({hz: 0.05}, on_s=3.0, off_s=3.0 + duration_s)
    draft = only(heard(samples), sound)
    assert draft.onset_s == pytest.approx(3.0, abs=COLLAR_S) and draft.offset_s == pytest.approx(
        3.0 + duration_s, abs=COLLAR_S
    )
    assert draft.measures["tone_hz"] == pytest.approx(hz, abs=32)
    assert draft.measures["level_db"] > 16


def test_a_squeal_whose_harmonics_take_turns_is_one():
    t = np.arange(round(DURATION_S * RATE_HZ)) / RATE_HZ
    turns = np.clip(0.5 + 0.6 * np.sin(2 * np.pi * 0.9 * t), 0.02, 1.0)
    both = tones(DURATION_S, {1800.0: 0.05}, 1) * turns + tones(DURATION_S, {3600.0: 0.05}, 2) * (
        1.02 - turns
    )
    draft = only(heard(within(both, 3.0, 7.0) + noise(DURATION_S, 0.002, 3)), "squeal")
    assert draft.onset_s == pytest.approx(3.0, abs=COLLAR_S) and draft.offset_s == pytest.approx(7.0, abs=0.3)
    assert draft.measures["tone_hz"] == pytest.approx(1800.0, abs=40)


def test_a_short_faint_tone_is_no_squeal():
    assert heard(between({1400.0: 0.004}, on_s=3.0, off_s=3.6)) == []


def test_a_valve_that_honks_and_a_line_of_the_mains_that_does_not():
    (draft,) = [
        d for d in heard(between({333.0: 0.05, 666.0: 0.01}, on_s=3.0, off_s=6.0)) if d.sound == "honk"
    ]
    assert draft.onset_s == pytest.approx(3.0, abs=COLLAR_S) and draft.measures["tone_hz"] == pytest.approx(
        333, abs=4
    )
    assert not any(d.sound == "honk" for d in heard(between({400.0: 0.05}, on_s=3.0, off_s=6.0)))


def test_a_fan_that_is_heard_when_the_pump_has_stopped_is_not_the_pump():
    fan = tones(DURATION_S, motor(50, 4, 0.057, 0.0012), 7)
    drafts = heard(between(motor(50, 4, 0.055, 0.05)) + fan - noise(DURATION_S, 0.0015, 2))
    pump = max((d for d in drafts if d.sound == "motor_run"), key=lambda d: d.measures["level_db"])
    assert pump.offset_s == pytest.approx(OFF_S, abs=2 * COLLAR_S) and not pump.open_end


def beeps(hz, on_s, off_s, times, start_s=3.0, fall_s=0.0):
    """A tone that is switched on and off, or a glass that is struck where it falls slowly."""
    out = np.zeros(round(DURATION_S * RATE_HZ))
    for n in range(times):
        t = np.arange(round((on_s + 6 * fall_s) * RATE_HZ)) / RATE_HZ
        wave = 0.1 * np.sin(2 * np.pi * hz * t)
        if fall_s:
            wave *= np.exp(-np.maximum(t - on_s, 0.0) / fall_s)
        at = round((start_s + n * (on_s + off_s)) * RATE_HZ)
        out[at : at + len(wave)] += wave[: len(out) - at]
    return out + noise(DURATION_S, 0.002, 9)


@pytest.mark.parametrize("hz", [2100.0, 2700.0, 3400.0])
def test_a_controllers_beeps_are_one_signal(hz):
    draft = only(heard(beeps(hz, 0.2, 0.2, 5)), "beep")
    assert draft.onset_s == pytest.approx(3.0, abs=0.15) and draft.offset_s == pytest.approx(4.8, abs=0.2)
    assert draft.measures["tone_hz"] == pytest.approx(hz, rel=0.02)


def test_signals_far_apart_are_two():
    drafts = heard(beeps(2700.0, 0.2, 0.2, 3) + beeps(2700.0, 0.2, 0.2, 3, start_s=9.0))
    assert sum(d.sound == "beep" for d in drafts) == 2


def test_a_glass_that_rings_is_no_beep():
    assert not any(d.sound == "beep" for d in heard(beeps(2700.0, 0.01, 1.0, 2, fall_s=0.25)))


def test_plain_noise_holds_no_beep():
    for seed in range(6):
        assert not any(d.sound == "beep" for d in heard(noise(DURATION_S, 0.01, seed)))


@pytest.mark.parametrize(
    "sound, lines", [("mains_hum", humming_coil(50)), ("stroke_train", half_wave_pump(50))]
)
def test_water_that_runs_on_does_not_hide_where_the_lines_end(sound, lines):
    water = within(band_noise(DURATION_S, 0.02, 5, 300, 3000), 6.0, 13.0)
    assert_placed(only(heard(between(lines) + water, 50), sound))


def test_a_motor_is_found_among_many_faint_lines():
    # Noise of few bins makes peaks that are no lines: they weigh next to nothing.
    faint = between(motor(50, 4, 0.03, 0.004)) + noise(DURATION_S, 0.004, 7)
    assert_placed(only(heard(faint, 50), "motor_run"))


@pytest.mark.parametrize(
    ("gap_s", "falls", "joined"),
    [(3.0, True, True), (9.0, False, True), (9.0, True, False), (14.0, False, False)],
)
def test_a_motor_whose_lines_are_lost_for_a_while_goes_on_unless_it_fell_silent(gap_s, falls, joined):
    before = Draft("motor_run", 1.5, 113.0, 0.9, {"level_db": 30.0}, edge_start=True, edge_end=falls)
    after = Draft("motor_run", 113.0 + gap_s, 190.0, 0.9, {"level_db": 32.0}, edge_start=False, edge_end=True)
    assert len(_mended([before, after])) == (1 if joined else 2)


def test_few_odd_multiples_that_tower_are_strokes():
    """A dull phone keeps few lines of a pump; a coil has no odd ones at all (common practice)."""
    few = {50.0: 0.05, 100.0: 0.05, 150.0: 0.05, 200.0: 0.05}
    silent = within(tones(DURATION_S, few, 1), ON_S, OFF_S) + noise(DURATION_S, 1e-5, 2)
    assert_placed(only(heard(silent, given_hz=50), "stroke_train"))
    coil = within(tones(DURATION_S, {100.0: 0.05, 200.0: 0.05}, 1), ON_S, OFF_S) + noise(DURATION_S, 1e-5, 2)
    assert {d.sound for d in heard(coil, given_hz=50)} == {"mains_hum"}


def test_tones_of_several_pitches_each_heard_once_are_no_beeper():
    alike = beeps(2700.0, 0.2, 3.0, 2)
    assert sum(d.sound == "beep" for d in heard(alike)) == 2
    unlike = beeps(2300.0, 0.2, 0.2, 1) + beeps(3100.0, 0.2, 0.2, 1, start_s=6.0)
    assert not any(d.sound == "beep" for d in heard(unlike))
