"""Short recordings for the library's tests, made of seeded noise and tones."""

from __future__ import annotations

import io

import numpy as np
import soundfile

RATE_HZ = 16_000


def samples(seed, duration_s=2.0, hum_hz=100.0):
    """Noise that swells, a hum and a few clicks (n,), float32: no two seeds sound the same."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    knots = np.arange(0, duration_s + 1, 0.25)
    swell = np.interp(t, knots, rng.uniform(0.2, 1.0, len(knots)))
    sound = 0.05 * swell * rng.standard_normal(len(t)) + 0.03 * np.sin(2 * np.pi * hum_hz * t)
    for at in rng.uniform(0.1, duration_s - 0.1, 3):
        sound[int(at * RATE_HZ) :][:80] += 0.5 * np.exp(-np.arange(80) / 12.0)
    return np.clip(sound, -1, 1).astype(np.float32)


def wav(seed=1, duration_s=2.0, **more):
    """The bytes of a 16-bit WAV."""
    data = io.BytesIO()
    soundfile.write(data, samples(seed, duration_s, **more), RATE_HZ, format="WAV", subtype="PCM_16")
    return data.getvalue()
