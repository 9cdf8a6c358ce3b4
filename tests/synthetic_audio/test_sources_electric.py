"""Physics of coils, pumps and motors: lines stand where the mains and the slip put them."""

import numpy as np
import pytest

from synthetic_audio.randomness import generator
from synthetic_audio.sources import SOURCES
from synthetic_audio.sources.coil import alternating_share
from synthetic_audio.sources.motor import shaft_hz, speed_curve
from tests.synthetic_audio import measure

RATE_HZ = 48_000
MOTOR = {
    "poles": 4, "slip": 0.05, "vanes": 5, "vane_gain_db": 6.0, "shaft_tilt_db": 3.0, "body_hz": 400.0,
    "run_up_s": 0.3, "run_down_s": 0.8, "flow_db": -20.0, "mains_hz": 50.0, "at_s": 0.0,
}  # fmt: skip
STROKES = {
    "mains_hz": 50.0, "at_s": 1.0, "tilt_db": 5.0, "load_drop_db": 5.0, "build_up_s": 2.0, "body_hz": 400.0,
}  # fmt: skip


def _play(source: str, for_s: float, seed: int = 0, **params) -> np.ndarray:
    return SOURCES[source](generator(seed, "train", source), RATE_HZ, for_s, {"at_s": 0.0, **params})


@pytest.mark.parametrize(
    ("mains_hz", "poles", "slip", "expected_hz"),
    [
        # n_s = 120 f / p; the 1746 rpm of a 4-pole 60 Hz motor at 3 % slip is a published worked example
        # of an online slip calculator; the others follow from the same formula.
        (60.0, 4, 0.03, 1746 / 60),
        (50.0, 4, 0.0, 1500 / 60),
        (60.0, 2, 0.0, 3600 / 60),
        (50.0, 2, 0.05, 47.5),
        (50.0, 6, 0.05, 15.83333),
    ],
)
def test_shaft_rate_follows_synchronous_speed_and_slip(mains_hz, poles, slip, expected_hz):
    assert shaft_hz(mains_hz, poles, slip) == pytest.approx(expected_hz, abs=1e-4)


@pytest.mark.parametrize("mains_hz", [49.93, 60.07])
def test_hum_stands_on_even_multiples_of_the_mains_only(mains_hz):
    wave = _play("hum", 4.0, mains_hz=mains_hz, tilt_db=5.0, lines=4, body_hz=300.0)
    found = measure.lines_hz(wave, 1000, 50)
    assert len(found) == 4
    np.testing.assert_allclose(found, 2 * mains_hz * np.arange(1, 5), atol=0.1)


@pytest.mark.parametrize(("ratio", "lag"), [(0.5, 50.0), (0.8, 75.0), (0.3, 30.0)])
def test_shading_ring_share_equals_the_force_computed_in_time(ratio, lag):
    # Reference: the two forces F(t) = 1 - cos 2wt and r (1 - cos(2wt - 2a)), summed sample by sample.
    w2t = np.linspace(0, 4 * np.pi, 40_001)
    force = (1 - np.cos(w2t)) + ratio * (1 - np.cos(w2t - 2 * np.deg2rad(lag)))
    share = (force.max() - force.min()) / 2 / force[:-1].mean()
    assert alternating_share(ratio, lag) == pytest.approx(share, abs=1e-4)
    assert force.min() > 0  # a shaded pole never lets go


def test_buzz_is_a_rich_comb_locked_to_the_mains():
    wave = _play("buzz", 4.0, mains_hz=50.04, tilt_db=2.5, body_hz=400.0, uneven=0.2)
    found = measure.lines_hz(wave, 3000, 40)
    orders = found / 50.04
    assert len(found) >= 12
    assert np.max(np.abs(orders - np.round(orders))) < 0.004
    # Impacts come once a half cycle: even multiples of f are the strong ones.
    freqs, power = measure.fine_spectrum(wave)
    even = sum(measure.line_power(freqs, power, 100.08 * k, 2) for k in range(1, 10))
    odd = sum(measure.line_power(freqs, power, 100.08 * k - 50.04, 2) for k in range(1, 10))
    assert even > 4 * odd


@pytest.mark.parametrize("mains_hz", [50.06, 59.95])
def test_stroke_pump_makes_one_stroke_a_cycle(mains_hz):
    wave = _play("stroke_train", 4.0, **{**STROKES, "mains_hz": mains_hz})
    found = measure.lines_hz(wave, 600, 40)
    np.testing.assert_allclose(found[:8] / mains_hz, np.arange(1, 9), atol=0.004)


def test_stroke_pump_gets_quieter_and_duller_under_load_and_harder_with_air():
    wave = _play("stroke_train", 8.0, **STROKES)
    early, late = wave[int(0.1 * RATE_HZ) : int(0.5 * RATE_HZ)], wave[-2 * RATE_HZ : -RATE_HZ // 2]
    drop = 20 * np.log10(early.std() / late.std())
    assert 2.5 < drop < 12
    assert measure.centroid_hz(late) < 0.9 * measure.centroid_hz(early)
    airy = _play("stroke_train", 8.0, **{**STROKES, "air": 1.0, "load": 0.2})
    assert measure.centroid_hz(airy[-2 * RATE_HZ :]) > 1.5 * measure.centroid_hz(late)


def test_missing_strokes_put_power_between_the_lines():
    def between(fraction: float) -> float:
        wave = _play("stroke_train", 6.0, **{**STROKES, "missing_fraction": fraction})[RATE_HZ:]
        freqs, power = measure.fine_spectrum(wave)
        lines = sum(measure.line_power(freqs, power, 50 * k, 2) for k in range(1, 10))
        inside = power[(freqs > 30) & (freqs < 470)].sum()
        return 1 - lines / inside

    assert between(0.2) > 4 * between(0.0)


@pytest.mark.parametrize(
    ("mains_hz", "poles", "slip"), [(49.95, 4, 0.03), (60.05, 4, 0.055), (50.02, 2, 0.075)]
)
def test_motor_lines_stand_on_the_slipping_shaft(mains_hz, poles, slip):
    wave = _play("motor", 6.0, **{**MOTOR, "mains_hz": mains_hz, "poles": poles, "slip": slip})
    steady = wave[RATE_HZ : 6 * RATE_HZ]
    fr = shaft_hz(mains_hz, poles, slip)
    found = measure.strongest_line_hz(steady, 0.9 * fr, 1.1 * fr)
    assert found == pytest.approx(fr, abs=0.1)
    freqs, power = measure.fine_spectrum(steady)
    comb = sum(measure.line_power(freqs, power, fr * k, 1.0) for k in range(1, 9))
    on_mains = sum(
        measure.line_power(freqs, power, mains_hz * k, 0.4)
        for k in range(1, 9)
        if min(abs(mains_hz * k - fr * j) for j in range(1, 40)) > 1.5
    )
    assert comb > 30 * on_mains


def test_motor_has_a_vane_pass_and_side_bands_at_twice_the_slip_rate():
    wave = _play("motor", 8.0, **{**MOTOR, "slip_depth": 0.2, "shaft_tilt_db": 6.0, "vane_gain_db": 12.0})
    steady = wave[RATE_HZ : 8 * RATE_HZ]
    freqs, power = measure.fine_spectrum(steady)
    fr = shaft_hz(50.0, 4, 0.05)
    vane = measure.line_power(freqs, power, 5 * fr, 0.6)
    assert vane > measure.line_power(freqs, power, 4 * fr, 0.6)
    side = measure.line_power(freqs, power, 5 * fr + 2 * 0.05 * 50, 0.6)
    quiet = measure.line_power(freqs, power, 5 * fr + 2 * 0.05 * 50 + 2.2, 0.6)
    assert side > 5 * quiet
    assert side < 0.2 * vane


@pytest.mark.parametrize(("run_up_s", "run_down_s"), [(0.2, 0.3), (0.5, 1.5)])
def test_motor_runs_up_and_down_in_its_times(run_up_s, run_down_s):
    speed = speed_curve(4 * RATE_HZ, RATE_HZ, 2.0, run_up_s, run_down_s)
    assert speed[0] == 0
    reached = np.argmax(speed > 0.95) / RATE_HZ
    assert 0.5 * run_up_s < reached < 1.05 * run_up_s
    assert speed[int((2.0 + run_down_s) * RATE_HZ) + 1] < 1e-9
    assert speed[int((2.0 + 0.5 * run_down_s) * RATE_HZ)] == pytest.approx(0.5, abs=0.02)


def test_motor_glides_while_a_stalled_one_does_not():
    def strongest(wave: np.ndarray, at_s: float) -> float:
        part = wave[int(at_s * RATE_HZ) : int((at_s + 0.15) * RATE_HZ)]
        return measure.strongest_line_hz(part, 30, 150)

    steep = {"run_up_s": 0.5, "vane_gain_db": 20.0, "flow_db": -40.0, "body_hz": 1500.0, "shaft_tilt_db": 6.0}
    turning = _play("motor", 3.0, **{**MOTOR, **steep})
    assert strongest(turning, 1.5) == pytest.approx(5 * shaft_hz(50.0, 4, 0.05), rel=0.03)
    assert strongest(turning, 0.05) < 0.8 * strongest(turning, 1.5)
    stalled = _play("hum", 3.0, mains_hz=50.0, tilt_db=4.0, lines=6, body_hz=400.0)
    assert strongest(stalled, 0.1) == pytest.approx(strongest(stalled, 1.5), rel=0.02)


def test_arcing_is_tied_to_half_cycles_but_uneven():
    wave = _play("arcing", 3.0, mains_hz=50.0)
    energy = np.array([np.sum(part**2) for part in np.array_split(wave, 300)])
    missed = np.mean(energy < 0.02 * np.median(energy[energy > 0]))
    assert 0.2 < missed < 0.9
    envelope = np.abs(wave[: 3 * RATE_HZ].astype(float)).reshape(-1, 48).mean(axis=1)
    power = np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2
    freqs = np.fft.rfftfreq(len(envelope), 0.001)
    assert power[np.abs(freqs - 100) < 1].max() > 10 * np.median(power[(freqs > 60) & (freqs < 140)])
