"""Physics of the second generator's sources, measured with plain Fourier transforms.

What is common practice is marked so; formulas are those of electrical handbooks.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy.stats import kurtosis

from synthetic_audio.second import RATE_HZ, built_in, flows, impostors, periodic, struck
from synthetic_audio.second.stage import Mains, Stage


def stage(mains_hz: float = 50.0, start_s: float = 0.0) -> Stage:
    return Stage(Mains(mains_hz), built_in(), start_s)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def spectrum(wave: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Hertz and dB over the middle of the wave, Hann."""
    part = wave[wave.size // 8 : -wave.size // 8].astype(float)
    level = 20 * np.log10(np.abs(np.fft.rfft(part * np.hanning(part.size), 4 * part.size)) + 1e-9)
    return np.fft.rfftfreq(4 * part.size, 1 / RATE_HZ), level


def line_db(wave: np.ndarray, hertz: float, near_hz: float = 0.4) -> float:
    """How far the strongest bin within `near_hz` stands over the middle level of the 8 Hz around."""
    at, level = spectrum(wave)
    around = (np.abs(at - hertz) < 8) & (np.abs(at - hertz) > 2)
    return float(level[np.abs(at - hertz) <= near_hz].max() - np.median(level[around]))


def peak_hz(wave: np.ndarray, low: float, high: float) -> float:
    at, level = spectrum(wave)
    inside = (at >= low) & (at <= high)
    return float(at[inside][np.argmax(level[inside])])


def share(wave: np.ndarray, low: float, high: float) -> float:
    power = np.abs(np.fft.rfft(wave.astype(float))) ** 2
    at = np.fft.rfftfreq(wave.size, 1 / RATE_HZ)
    return float(power[(at >= low) & (at <= high)].sum() / power.sum())


def level_db(wave: np.ndarray, at_s: float, width_s: float = 0.02) -> float:
    part = wave[max(int((at_s - width_s / 2) * RATE_HZ), 0) : int((at_s + width_s / 2) * RATE_HZ)]
    return float(10 * np.log10((part.astype(float) ** 2).mean() + 1e-12))


@pytest.mark.parametrize("mains_hz", [49.95, 60.03])
@pytest.mark.parametrize("make", [periodic.coil_hum, periodic.coil_buzz, periodic.stalled, periodic.field])
def test_coils_sing_at_twice_the_mains(make, mains_hz):
    # The pull of a coil goes with the square of its current, so with 2f (sin squared identity).
    wave = make(6 * RATE_HZ, rng(), stage(mains_hz))
    assert line_db(wave, 2 * mains_hz) > 20
    assert peak_hz(wave, 2 * mains_hz - 4, 2 * mains_hz + 4) == pytest.approx(2 * mains_hz, abs=0.1)


def test_buzz_is_a_rich_comb_and_hum_is_not():
    lines = {}
    for name, make in (("hum", periodic.coil_hum), ("buzz", periodic.coil_buzz)):
        wave = make(6 * RATE_HZ, rng(4), stage())
        at, level = spectrum(wave)
        tops = [level[np.abs(at - 100 * k) < 0.4].max() for k in range(1, 40)]
        lines[name] = sum(top > max(tops) - 30 for top in tops)
    assert lines["buzz"] >= 12 > lines["hum"]


@pytest.mark.parametrize(("mains_hz", "poles", "slip"), [(50.0, 4, 0.05), (60.0, 4, 0.03), (50.0, 2, 0.04)])
def test_a_turning_motor_slips(mains_hz, poles, slip):
    # Shaft rate 120 f / p (1 - s) / 60; a 4-pole motor on 60 Hz with 3 % slip turns at 1746 a minute (29.1 a second).
    wave = periodic.motor(8 * RATE_HZ, rng(2), stage(mains_hz), slip=slip, poles=poles, vanes=5)
    shaft_hz = 2 * mains_hz / poles * (1 - slip)
    if (mains_hz, poles, slip) == (60.0, 4, 0.03):
        assert periodic.shaft_rate_hz(60, 4, 0.03) == pytest.approx(29.1)
    for k in (1, 2, 5, 10):
        assert line_db(wave, k * shaft_hz) > 12, k
        assert peak_hz(wave, k * shaft_hz - 1, k * shaft_hz + 1) == pytest.approx(k * shaft_hz, abs=0.15)
    # Off every multiple of the mains: the fifth line (the vanes') differs by more than 1 Hz.
    assert abs(5 * shaft_hz - round(5 * shaft_hz / mains_hz) * mains_hz) > 1


def test_a_held_motor_has_no_shaft():
    wave = periodic.stalled(8 * RATE_HZ, rng(3), stage(50.0))
    at, level = spectrum(wave)
    strongest = level.max()
    off = np.abs(at - 100 * np.round(at / 100)) > 3
    assert level[off & (at > 15) & (at < 500)].max() < strongest - 35


def test_a_run_up_glides_and_a_run_down_dies():
    wave = periodic.motor(5 * RATE_HZ, rng(5), stage(), slip=0.04, rise_s=0.15, fall_s=0.3)
    assert level_db(wave, 2.0, 0.4) > level_db(wave, 0.01, 0.02) + 6
    assert level_db(wave, 2.0, 0.4) > level_db(wave, 4.9, 0.1) + 10


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_a_half_wave_pump_strikes_once_a_cycle(mains_hz):
    # One stroke a mains cycle: the diode lets half the wave through (common practice).
    wave = periodic.stroke_pump(6 * RATE_HZ, rng(6), stage(mains_hz))
    for k in (1, 2, 3):
        assert line_db(wave, k * mains_hz) > 15
    at, level = spectrum(wave)
    assert level[np.abs(at - 1.5 * mains_hz) < 2].max() < level[np.abs(at - mains_hz) < 0.5].max() - 15
    power = np.convolve(wave.astype(float) ** 2, np.ones(240), mode="same")[RATE_HZ : 5 * RATE_HZ : 48]
    lag = np.correlate(power - power.mean(), power - power.mean(), "full")[power.size - 1 :]
    assert np.argmax(lag[10:30]) + 10 == pytest.approx(1000 / mains_hz, abs=1)


def test_missing_strokes_are_missing():
    make = partial(periodic.stroke_pump, 6 * RATE_HZ, stage=stage(), loaded=False)
    whole, gaps = make(rng=rng(7)), make(rng=rng(7), missing=0.3)
    cycle = RATE_HZ // 50
    power = [(w[: w.size // cycle * cycle].reshape(-1, cycle) ** 2).sum(axis=1)[5:-5] for w in (whole, gaps)]
    spread = [float(np.std(p) / np.mean(p)) for p in power]
    assert spread[0] < 0.25
    assert spread[1] > 2 * spread[0]


@pytest.mark.parametrize("seed", range(4))
def test_clicks_are_short_and_sharp(seed):
    # Common practice: most of a small valve's click lies between 1 and 8 kHz and rings for less than 50 ms.
    wave = struck.click(0, rng(seed), stage()).astype(float)
    spent = np.cumsum(wave**2) / (wave**2).sum()
    assert np.searchsorted(spent, 0.99) / RATE_HZ < 0.05
    assert np.searchsorted(spent, 0.01) / RATE_HZ < 0.002
    assert share(wave, 800, 10_500) > 0.7


def test_a_train_keeps_its_rate():
    wave = struck.click_train(6 * RATE_HZ, rng(8), stage(), rate_hz=10.0, scatter=0.2)
    power = np.abs(wave).reshape(-1, 240).max(axis=1)
    starts = np.flatnonzero((power[1:] > 0.2) & (power[:-1] < 0.1))
    assert 45 <= starts.size <= 75
    assert 0.08 < np.std(np.diff(starts)) / np.mean(np.diff(starts)) < 0.5


def test_a_thump_is_low():
    assert share(struck.thump(0, rng(9), stage()), 30, 320) > 0.85


def test_hiss_rises_to_the_limit_and_stays():
    wave = flows.hiss(5 * RATE_HZ, rng(10), stage(), rise_s=0.0, fall_s=0.0, slope_db=2.0, knee_hz=2500)
    octaves = [10 * np.log10(share(wave, f, 2 * f) / f) for f in (1200, 2500, 5000, 9500)]
    assert np.all(np.diff(octaves) > 0.7)
    levels = [level_db(wave, t, 0.4) for t in (1, 2, 3, 4)]
    assert np.ptp(levels) < 3


def test_a_vent_ends_at_once():
    wave = flows.hiss(
        4 * RATE_HZ, rng(11), stage(), rise_s=0.5, fall_s=0.1, slope_db=1.0, knee_hz=2500, spit=3.0
    )
    assert level_db(wave, 3.8, 0.05) > level_db(wave, 3.995, 0.01) + 10


@pytest.mark.parametrize("seed", range(3))
def test_a_blast_is_there_within_50_ms_and_lies_lower_than_a_hiss(seed):
    wave = flows.blast(4 * RATE_HZ, rng(seed), stage(), peak_hz=1500, rise_s=0.03, fall_s=0.0)
    smooth = np.sqrt(np.convolve(wave.astype(float) ** 2, np.ones(480) / 480, mode="full")[: wave.size])
    assert np.argmax(smooth > 0.5 * np.median(smooth)) / RATE_HZ < 0.05
    assert share(wave, 500, 16_000) > 0.9
    hiss = flows.hiss(4 * RATE_HZ, rng(seed), stage(), rise_s=0, fall_s=0, slope_db=1.0, knee_hz=2500)
    centre = [_centre_hz(w) for w in (wave, hiss)]
    assert centre[0] < 0.7 * centre[1]


def _centre_hz(wave: np.ndarray) -> float:
    power = np.abs(np.fft.rfft(wave.astype(float))) ** 2
    return float((power * np.fft.rfftfreq(wave.size, 1 / RATE_HZ)).sum() / power.sum())


@pytest.mark.parametrize("decay_s", [0.12, 0.3])
def test_a_burst_decays_as_told(decay_s):
    wave = flows.burst(int(5 * decay_s * RATE_HZ), rng(12), stage(), decay_s=decay_s, peak_hz=3000)
    t = np.arange(0.02, 3 * decay_s, 0.02)
    slope = np.polyfit(t, [level_db(wave, x) for x in t], 1)[0]
    assert slope == pytest.approx(-20 * np.log10(np.e) / decay_s, rel=0.2)
    assert share(wave, 900, 10_500) > 0.85
    assert np.argmax(np.abs(wave) > 0.3) / RATE_HZ < 0.05


def test_boil_grows_and_is_low():
    grown = []
    for seed in (13, 14, 15):
        wave = flows.boil(8 * RATE_HZ, rng(seed), stage(), rise_s=0.0, fall_s=0.0, growth_db=8.0)
        grown.append(level_db(wave, 7.0, 1.8) - level_db(wave, 1.0, 1.8))
        assert share(wave, 90, 3200) > 0.9
    # 8 dB over 8 s: 6 dB between these middles.
    assert np.mean(grown) == pytest.approx(6.0, abs=1.5)


def test_gravel_is_impulsive_and_a_hiss_is_not():
    # Published: noise of cavitation in air lies between 1 and 10 kHz, random, without a line of its own.
    stones = flows.gravel(4 * RATE_HZ, rng(14), stage(), blows_hz=250)
    jet = flows.hiss(4 * RATE_HZ, rng(14), stage(), rise_s=0, fall_s=0, slope_db=1.0, knee_hz=2500)
    assert kurtosis(stones) > 8 > 1.5 > kurtosis(jet)
    assert share(stones, 900, 11_000) > 0.85
    assert max(line_db(stones, f) for f in np.arange(1000, 5000, 50)) < 25


def test_a_refrigerator_slips_like_a_two_pole_motor():
    wave = impostors.fridge(8 * RATE_HZ, rng(15), stage(50.0), slip=0.04)
    assert line_db(wave, 48.0) > 10


@pytest.mark.parametrize("make", [
    partial(impostors.fan, turn_hz=20.0, blades=7), partial(impostors.grinder, turn_hz=150.0),
    partial(impostors.voices, pitch_hz=120.0), partial(impostors.tune, key_hz=220.0), flows.water,
    partial(struck.clatter, rate_hz=2.0), partial(struck.drips, rate_hz=2.0),
])  # fmt: skip
def test_impostors_sound_and_stay_whole(make):
    wave = make(3 * RATE_HZ, rng(16), stage())
    assert wave.shape == (3 * RATE_HZ,)
    assert np.isfinite(wave).all()
    assert np.abs(wave).max() == pytest.approx(1.0)
    assert kurtosis(np.diff(wave)) > -1.5
