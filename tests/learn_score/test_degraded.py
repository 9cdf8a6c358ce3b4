"""Spoilt clips: the noise is as strong as it says, and the change is paired."""

import numpy as np
import pytest

from tests.measure.degraded import WAYS, change, in_noise, phone_for


def test_noise_is_as_strong_as_it_says():
    rng = np.random.default_rng(1)
    samples = 0.01 * rng.standard_normal(48_000)
    mixed = in_noise(samples, -5.0, rng)
    gain = np.dot(mixed, samples) / np.dot(samples, samples)
    noise = mixed - gain * samples
    snr_db = 10 * np.log10(np.mean((gain * samples) ** 2) / np.mean(noise**2))
    assert snr_db == pytest.approx(-5.0, abs=0.3) and np.abs(mixed).max() <= 0.9 + 1e-6


def test_only_one_thing_is_spoilt_at_a_time():
    phone = {"codec": "low_pass", "suppression": True, "agc": 0.5, "clip": True, "lowpass_hz": 14_000.0}
    found = {way: phone_for(way, phone) for way in WAYS}
    assert {way for way, p in found.items() if p["codec"] == "narrow_band"} == {"telephone band"}
    assert {way for way, p in found.items() if p["suppression"]} == {"heavy suppression"}
    assert all(p["agc"] == 0.0 and not p["clip"] for p in found.values())


def test_the_change_is_paired():
    clean = np.zeros(50, bool)
    wrong = clean.copy()
    wrong[:5] = True
    mean, low, high = change(wrong, clean)
    assert mean == pytest.approx(10.0) and 0 < low < 10 < high
    assert change(wrong, wrong) == (0.0, 0.0, 0.0)
