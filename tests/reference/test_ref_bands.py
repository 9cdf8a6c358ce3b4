"""Third octaves against IEC 61260-1:2014, base ten."""

import numpy as np
import pytest

from listen.features.collect import BANDS_K
from listen.spectra import (
    FRAME_N,
    HIGH_K,
    LINE_RATE_HZ,
    LOW_K,
    LOW_N,
    RATE_HZ,
    band_edges_hz,
    band_weights,
    power_spectra,
)
from tests.reference.values import THIRD_OCTAVES_HZ, WHITE_NOISE_DB_PER_BAND
from tests.support.signals import collect, noise

#: The top band reaches past half the sampling rate and holds only a part of its noise.
WHOLE = [i for i, k in enumerate(BANDS_K) if THIRD_OCTAVES_HZ[k][2] < RATE_HZ / 2]


def mean_band_db(features):
    return 10 * np.log10(np.mean(10 ** (features.bands_db.astype(float) / 10), axis=0))


def test_edges_are_those_of_the_standard():
    assert set(BANDS_K) == set(THIRD_OCTAVES_HZ)
    for k, expected in THIRD_OCTAVES_HZ.items():
        # The table is rounded to four decimals: half of the last one.
        np.testing.assert_allclose(band_edges_hz(k), expected, rtol=0, atol=5.1e-5)


def test_bands_touch_without_gap():
    for k in BANDS_K[:-1]:
        assert band_edges_hz(k)[2] == pytest.approx(band_edges_hz(k + 1)[0], rel=1e-12)


@pytest.mark.parametrize(
    "ks, n_fft, rate_hz", [(LOW_K, LOW_N, LINE_RATE_HZ), (HIGH_K, FRAME_N, RATE_HZ)], ids=["low", "high"]
)
def test_weights_share_each_bin_out_once(ks, n_fft, rate_hz):
    weights = band_weights(ks, n_fft, rate_hz).astype(float)
    width_hz = rate_hz / n_fft
    bins = np.arange(len(weights)) * width_hz
    inside = (bins - width_hz / 2 > band_edges_hz(ks[0])[0]) & (
        bins + width_hz / 2 < band_edges_hz(ks[-1])[2]
    )
    np.testing.assert_allclose(weights.sum(axis=1)[inside], 1.0, atol=1e-5)
    assert weights.sum(axis=1).max() < 1.0 + 1e-5
    # Each band is as wide as the standard says, in bins.
    for column, k in enumerate(ks):
        lower, _, upper = THIRD_OCTAVES_HZ[k]
        upper = min(upper, rate_hz / 2 + width_hz / 2)
        assert weights[:, column].sum() == pytest.approx((upper - lower) / width_hz, rel=1e-4)


def test_band_power_is_conserved():
    frames = noise(4.0, 0.1, seed=3).astype(np.float32).reshape(-1, FRAME_N)
    power = power_spectra(frames).astype(float)
    shared = power @ band_weights(HIGH_K, FRAME_N, RATE_HZ).astype(float)
    lower, upper = THIRD_OCTAVES_HZ[HIGH_K[0]][0], RATE_HZ / 2
    bins = np.arange(power.shape[1]) * RATE_HZ / FRAME_N
    direct = power[:, (bins > lower) & (bins <= upper)].sum()
    # The bin that straddles the lowest edge is the only difference: one of 500.
    assert shared.sum() == pytest.approx(direct, rel=0.004)


def test_white_noise_gains_one_decibel_a_band():
    features = collect(noise(60.0, 0.05, seed=11))
    db = mean_band_db(features)[WHOLE]
    slope, _ = np.polyfit([BANDS_K[i] for i in WHOLE], db, 1)
    # 60 s of noise: the narrowest band's level is known to 0.25 dB, the slope to about 0.01 dB.
    assert slope == pytest.approx(WHITE_NOISE_DB_PER_BAND, abs=0.03)
    for i, level in zip(WHOLE, db, strict=True):
        lower, _, upper = THIRD_OCTAVES_HZ[BANDS_K[i]]
        expected = 10 * np.log10(0.05**2 * (upper - lower) / (RATE_HZ / 2))
        spread_db = 4.34 / np.sqrt((upper - lower) * 60.0)
        assert level == pytest.approx(expected, abs=4 * spread_db + 0.05)


def test_pink_noise_is_equal_in_every_band():
    n = 60 * RATE_HZ
    rng = np.random.default_rng(5)
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    shape = np.where(hz >= 15.0, 1 / np.sqrt(np.maximum(hz, 15.0)), 0.0)
    samples = np.fft.irfft(shape * np.exp(2j * np.pi * rng.uniform(size=len(hz))), n)
    samples *= 0.1 / np.sqrt(np.mean(samples**2))
    db = mean_band_db(collect(samples))[WHOLE]
    # Equal power per constant relative bandwidth is the definition of pink noise.
    for i, level in zip(WHOLE, db, strict=True):
        lower, _, upper = THIRD_OCTAVES_HZ[BANDS_K[i]]
        spread_db = 4.34 / np.sqrt((upper - lower) * 60.0)
        assert level == pytest.approx(float(np.median(db)), abs=4 * spread_db + 0.15)
