"""Mains, coils, pumps and motors: line frequencies from physics and handbooks, recovered from sound."""

import numpy as np
import pytest

from listen.features.lines import find_lines
from listen.features.mains import SLIP_RANGE, TOLERANCE, comb_tracks, estimate_mains
from listen.spectra import LINE_N, LINE_RATE_HZ, power_spectra
from tests.reference import values
from tests.support.signals import collect, comb, motor, noise, tones

#: The bound that the checks are held to, Hz.
WITHIN_HZ = 0.3
COIL_MULTIPLES = (1, 2, 3, 4, 5, 6, 7)


def combs_of(amplitudes, seed, given_hz=None, noise_rms=0.003, duration_s=8.0):
    features = collect(tones(duration_s, amplitudes, seed) + noise(duration_s, noise_rms, seed + 1))
    mains = estimate_mains(features.lines, given_hz)
    return comb_tracks(features.lines, mains), mains


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_coil_hums_at_twice_the_mains(mains_hz):
    # The pull of a coil follows the square of its current, hence 2f (standard electromechanics).
    tracks, mains = combs_of(comb(2 * mains_hz, COIL_MULTIPLES, 0.02), seed=1)
    assert mains.hz == mains_hz and mains.source == "heard"
    assert np.median(tracks.line_hz) == pytest.approx({50: 100.0, 60: 120.0}[mains_hz], abs=WITHIN_HZ)
    assert np.median(tracks.even_n) >= len(COIL_MULTIPLES) - 1
    # A chance peak of the noise may lie on one odd multiple, never on two at once.
    assert np.max(tracks.odd_n) <= 1 and np.median(tracks.odd_n) == 0
    assert not np.isfinite(tracks.shaft_hz).any()


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_half_wave_pump_strikes_once_a_cycle(mains_hz):
    # A diode in series leaves one stroke a mains cycle (common practice): odd multiples of f appear as well.
    tracks, mains = combs_of(comb(mains_hz, range(1, 13), 0.02), seed=2)
    assert mains.hz == mains_hz
    assert mains.measured_hz == pytest.approx(mains_hz, abs=WITHIN_HZ)
    assert np.median(tracks.odd_n) >= 5 and np.median(tracks.even_n) >= 5
    assert not np.isfinite(tracks.shaft_hz).any()


@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize("off", [-0.006, -0.002, 0.0, 0.002, 0.006])
def test_mains_that_drifts_is_followed(mains_hz, off):
    true_hz = mains_hz * (1 + off)
    low, high = values.MAINS_RANGE_HZ[mains_hz]
    assert low <= true_hz <= high
    _, mains = combs_of(comb(true_hz, range(1, 13), 0.02), seed=3)
    assert mains.hz == mains_hz
    assert mains.measured_hz == pytest.approx(true_hz, abs=0.05)


def test_mains_search_covers_the_public_supply():
    for nominal, (low, high) in values.MAINS_RANGE_HZ.items():
        assert nominal * (1 - TOLERANCE) <= low + 1e-9 and nominal * (1 + TOLERANCE) >= high - 1e-9


def test_slips_of_the_handbook_are_searched():
    slips = [s for _, _, s in values.SHAFT_HZ]
    assert SLIP_RANGE[0] < min(slips) and SLIP_RANGE[1] > max(slips)


def test_table_of_shafts_is_the_formula():
    # 120 f / p turns a minute, less the slip.
    for (mains_hz, poles, slip), shaft_hz in values.SHAFT_HZ.items():
        assert shaft_hz == pytest.approx(values.SYNCHRONOUS_RPM[mains_hz, poles] / 60 * (1 - slip), abs=0.005)


@pytest.mark.parametrize("given", [True, False], ids=["mains given", "mains unknown"])
@pytest.mark.parametrize("mains_hz, poles, slip", values.SHAFT_HZ)
def test_shaft_rate_is_recovered(mains_hz, poles, slip, given):
    tracks, _ = combs_of(motor(mains_hz, poles, slip), seed=4, given_hz=mains_hz if given else None)
    assert np.isfinite(tracks.shaft_hz).mean() > 0.8
    expected = values.SHAFT_HZ[mains_hz, poles, slip]
    assert np.nanmedian(tracks.shaft_hz) == pytest.approx(expected, abs=WITHIN_HZ)
    if given:
        assert tracks.poles == poles
        # A slip of a few percent against a line within 0.05 Hz.
        heard_slip = 1 - np.nanmedian(tracks.shaft_hz) * poles / (2 * mains_hz)
        assert heard_slip == pytest.approx(slip, abs=0.003)
        assert np.median(tracks.line_hz[np.isfinite(tracks.line_hz)]) == pytest.approx(
            2 * mains_hz, abs=WITHIN_HZ
        )


def test_worked_example_of_a_slip_calculator():
    shaft_hz = values.WORKED_RPM / 60
    amplitudes = comb(shaft_hz, range(1, 13), 0.01) | comb(120.0, (1, 2), 0.01)
    tracks, _ = combs_of(amplitudes, seed=5, given_hz=values.WORKED_MAINS_HZ)
    assert tracks.poles == values.WORKED_POLES
    assert np.nanmedian(tracks.shaft_hz) == pytest.approx(shaft_hz, abs=WITHIN_HZ)
    slip = 1 - np.nanmedian(tracks.shaft_hz) / (values.SYNCHRONOUS_RPM[60, 4] / 60)
    assert slip == pytest.approx(values.WORKED_SLIP, abs=0.002)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_locked_rotor_has_no_shaft_and_a_turning_one_has(mains_hz):
    # Locked rotor: slip 1, shaft rate 0, only multiples of the mains are left (any electrical handbook).
    hum = comb(2 * mains_hz, COIL_MULTIPLES, 0.02)
    stalled, stalled_mains = combs_of(hum, seed=6)
    turning, turning_mains = combs_of(hum | comb(mains_hz / 2 * 0.95, range(1, 13), 0.012), seed=6)
    assert stalled_mains.hz == turning_mains.hz == mains_hz
    assert not np.isfinite(stalled.shaft_hz).any()
    assert np.nanmedian(turning.shaft_hz) == pytest.approx(mains_hz / 2 * 0.95, abs=WITHIN_HZ)
    assert turning.poles == 4


@pytest.mark.parametrize("spread_hz", [0.0, 0.1, 0.2])
def test_line_frequency_error_at_10_db(spread_hz):
    # A line 10 dB over all the noise below 2 kHz, at frequencies between bins.
    rng = np.random.default_rng(7)
    t = np.arange(LINE_N) / LINE_RATE_HZ
    errors = []
    for n in range(60):
        hz = 100.0 + n * 7.3 + spread_hz
        line = np.sin(2 * np.pi * hz * t + rng.uniform(0, 2 * np.pi))
        frame = line + rng.normal(0, np.sqrt(0.5 / 10), LINE_N)
        found, _, over, _ = find_lines(power_spectra(frame[None, :].astype(np.float32) * 0.1))
        errors.append(found[0, np.nanargmax(over[0])] - hz)
    assert np.max(np.abs(errors)) < 0.05


def test_line_level_is_the_mean_square_of_its_tone():
    t = np.arange(LINE_N) / LINE_RATE_HZ
    for hz in (100.0, 100.2, 119.9):
        frame = (0.2 * np.sin(2 * np.pi * hz * t))[None, :].astype(np.float32)
        found, level, over, _ = find_lines(power_spectra(frame))
        at = np.nanargmax(level[0])
        assert found[0, at] == pytest.approx(hz, abs=0.05)
        # Three bins hold a Hann line but for its skirts.
        assert level[0, at] == pytest.approx(10 * np.log10(0.2**2 / 2), abs=0.35)
        assert over[0, at] > 40
