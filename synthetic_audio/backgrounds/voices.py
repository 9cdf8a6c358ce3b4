"""Speech-like and music-like sounds: no words, no tunes, only their make.

Speech: a glottal pulse train at 90-250 Hz through formants that move from
vowel to vowel at 3-5 syllables a second, with fricative noise between. Mean
formants of vowels are textbook values (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.signal import lfilter

from synthetic_audio.sources import shaping

#: Formants above the third hardly move (from memory).
HIGHER_HZ = (3500.0, 4500.0)
VOWELS_HZ = np.array(
    [[730, 1090, 2440], [270, 2290, 3010], [300, 870, 2240], [530, 1840, 2480], [570, 840, 2410]]
)


def _formants(wave: np.ndarray, freqs_hz: np.ndarray, rate_hz: int) -> np.ndarray:
    for f, width in zip((*freqs_hz, *HIGHER_HZ), (80.0, 110.0, 160.0, 250.0, 350.0), strict=True):
        r = np.exp(-np.pi * width / rate_hz)
        a = [1.0, -2 * r * np.cos(2 * np.pi * f / rate_hz), r * r]
        wave = lfilter([sum(a)], a, wave)
    return wave


def _syllable(
    rng: np.random.Generator, rate_hz: int, length_s: float, pitch_hz: float, scale: float
) -> np.ndarray:
    n = int(length_s * rate_hz)
    pitch = pitch_hz * np.linspace(rng.uniform(0.95, 1.1), rng.uniform(0.9, 1.05), n)
    pitch *= 1 + 0.01 * shaping.walk(rng, n, rate_hz, 20.0)
    # A voice falls about 12 dB an octave at the glottis, of which the lips give back 6; breath comes with it.
    k = np.arange(1, int(7500 / pitch_hz))
    pulses = shaping.read_table(shaping.make_table(k**-0.9, np.full(len(k), 0.3)), np.cumsum(pitch) / rate_hz)
    pulses += rng.uniform(0.02, 0.1) * np.std(pulses) * rng.standard_normal(n)
    first, last = VOWELS_HZ[rng.integers(len(VOWELS_HZ), size=2)] * scale
    mix = np.linspace(0, 1, n)
    voiced = _formants(pulses, first, rate_hz) * (1 - mix) + _formants(pulses, last, rate_hz) * mix
    voiced *= shaping.envelope(n, rate_hz, 0.3 * length_s, 0.4 * length_s)
    voiced /= np.max(np.abs(voiced)) + 1e-9
    if rng.random() < 0.5:
        m = int(rng.uniform(0.05, 0.12) * rate_hz)
        hush = shaping.shaped_noise(rng, m, rate_hz, shaping.band(3000.0, 8500.0, 2.0)) * shaping.envelope(
            m, rate_hz, 0.02, 0.03
        )
        voiced = np.concatenate([rng.uniform(0.05, 0.2) * hush, voiced])
    return voiced


def speech(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return phrases of syllables; `pitch_hz` and `syllables_hz` (3-5) make the speaker."""
    n = int(for_s * rate_hz)
    out = np.zeros(n)
    scale = (p["pitch_hz"] / 120) ** 0.2
    at = 0.0
    while at < for_s - 0.3:
        for _ in range(int(rng.integers(3, 10))):
            length_s = rng.uniform(0.7, 1.1) / p["syllables_hz"]
            wave = _syllable(rng, rate_hz, length_s, p["pitch_hz"] * rng.uniform(0.85, 1.2), scale)
            start = int(at * rate_hz)
            part = out[start : start + len(wave)]
            part += rng.uniform(0.4, 1.0) * wave[: len(part)]
            at += len(wave) / rate_hz + rng.uniform(0.0, 0.05)
            if at > for_s:
                break
        at += rng.uniform(0.15, 0.7)
    return out.astype(np.float32)


def music(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return chords, a bass and a brushed off-beat at `tempo_bpm`, random within a scale."""
    n = int(for_s * rate_hz)
    out = np.zeros(n)
    beat_s = 60.0 / p["tempo_bpm"]
    root_hz = rng.uniform(110, 165)
    scale = 2 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12]) / 12)
    k = np.arange(1, 9)
    table = shaping.make_table(k ** -rng.uniform(1.0, 2.0), rng.uniform(0, 6.28, 8))
    note_n = int(2 * beat_s * rate_hz)
    t = np.arange(note_n) / rate_hz
    decay = np.exp(-t / (0.7 * beat_s)) * shaping.envelope(note_n, rate_hz, 0.01, 0.05)
    brush = shaping.shaped_noise(rng, int(0.1 * rate_hz), rate_hz, shaping.band(5000.0, 14000.0, 1.5))
    brush = brush * np.exp(-np.arange(len(brush)) / (0.02 * rate_hz))
    for beat in range(int(for_s / beat_s) + 1):
        start = int(beat * beat_s * rate_hz)
        room = min(note_n, n - start)
        if room <= 0:
            break
        notes = (
            [(root_hz * scale[d] * 2, 0.4) for d in rng.choice(8, 3, replace=False)] if beat % 2 == 0 else []
        )
        notes.append((root_hz * scale[rng.integers(0, 8)] * rng.choice([0.5, 2.0, 4.0]), 0.6))
        for f, level in notes:
            out[start : start + room] += level * (shaping.read_table(table, f * t) * decay)[:room]
        off = start + int(0.5 * beat_s * rate_hz)
        part = out[off : off + len(brush)]
        part += 0.25 * brush[: len(part)]
    return out.astype(np.float32)
