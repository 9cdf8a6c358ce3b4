"""The measuring behind the phone set, on sound whose lag and loss are known."""

from __future__ import annotations

import numpy as np
import pytest

from synthetic_audio.truth import Label
from tests.measure import phone_codecs, phone_truth

RATE_HZ = phone_truth.RATE_HZ


@pytest.fixture(scope="module")
def noise():
    return (0.05 * np.random.default_rng(5).standard_normal(6 * RATE_HZ)).astype(np.float32)


def hum(seconds: float, hz: float = 100.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return sum(0.05 * np.sin(2 * np.pi * k * hz * t + k) for k in range(1, 30)).astype(np.float32)


@pytest.mark.parametrize("lag_ms", [-6, 0, 13, 42])
def test_a_lag_is_found_within_a_millisecond(noise, lag_ms):
    shift = lag_ms * RATE_HZ // 1000
    later = np.concatenate([np.zeros(max(shift, 0), np.float32), noise[max(-shift, 0) :]])
    lag_s, why = phone_truth.align(noise, later)
    assert why == "" and lag_s == pytest.approx(lag_ms / 1000, abs=0.001)


def test_a_hum_does_not_lead_to_a_neighbouring_period(noise):
    """100 Hz and its multiples match themselves every 10 ms; the faint noise between decides."""
    played = hum(6.0) + 0.02 * noise
    later = np.concatenate([np.zeros(RATE_HZ * 17 // 1000, np.float32), 0.3 * played])
    lag_s, _ = phone_truth.align(played, later)
    assert lag_s == pytest.approx(0.017, abs=0.001)


def test_other_sound_is_not_aligned(noise):
    other = np.random.default_rng(6).standard_normal(len(noise)).astype(np.float32)
    lag_s, why = phone_truth.align(noise, other)
    assert lag_s is None and why


def test_a_lost_block_is_noticed(noise):
    cut = np.concatenate([noise[: 4 * RATE_HZ], noise[4 * RATE_HZ + RATE_HZ // 40 :]])
    lag_s, why = phone_truth.align(noise, cut)
    assert lag_s is None and "differ by" in why


def test_a_loss_is_measured_in_the_cells_of_its_sound(noise):
    stem = hum(6.0)
    played = stem + 0.001 * noise
    label = Label("mains_hum", 1.0, 5.0, 40.0)
    assert phone_truth.losses_db(label, stem, played, 0.25 * played, (0, 20_000)) == pytest.approx(
        [12.04] * 16, abs=0.1
    )
    # Taken away from the third second on: half of the time.
    fading = played * np.where(np.arange(len(played)) < 3 * RATE_HZ, 1.0, 0.1)
    lost = phone_truth.losses_db(label, stem, played, fading.astype(np.float32), (0, 20_000))
    assert np.mean(np.array(lost) >= phone_truth.ERASED_DB) == pytest.approx(0.5, abs=0.07)
    assert phone_truth.losses_db(label, 1e-4 * stem, played, played, (0, 20_000)) == []


@pytest.mark.parametrize("codec", [c for c, form in phone_codecs.CODECS.items() if form.muxer])
def test_codecs_keep_time_and_their_band(noise, codec):
    recorded = phone_truth.decode(phone_codecs.encode(noise, codec))
    lag_s, _ = phone_truth.align(noise, recorded)
    # A codec's own delay is at most a frame of 20 ms (AMR: 5 ms of look-ahead, 3GPP TS 26.090, from memory).
    assert 0 <= lag_s < 0.02
    assert abs(len(recorded) - len(noise)) < 0.05 * RATE_HZ
    # The band that the truth is judged by is not wider than the codec's.
    assert phone_codecs.measured_high_hz(noise, recorded) >= 0.9 * phone_codecs.band_hz(codec)[1]


def test_stereo_is_not_louder_than_mono(noise):
    """The browser hands out two equal channels where nothing processes them."""
    import io

    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.stack([noise, noise], axis=1), RATE_HZ, format="WAV", subtype="FLOAT")
    assert phone_truth.decode(out.getvalue()) == pytest.approx(noise, abs=1e-6)
