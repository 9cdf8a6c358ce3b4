"""Music of other makings: a melody, chords over a bass, beats; any scale, any timbre, a small radio or not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import texture

#: Made at half the rate: nothing of it lies higher than 10 kHz.
_SLOWER = 2


def melody(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return one voice after another note: plucked, blown or bowed.

    Parameters
    ----------
    p : mapping
        Of all makings: `root_hz`, `notes_hz` (a second), `attack_s`, `decay_s`, `dull` (power by which harmonics fall),
        `vibrato` (share), `low_hz` and `high_hz` (what the loudspeaker lets through).
    """
    rate, out = _half(rate_hz, for_s)
    scale, timbre = _scale(rng), _timbre(rng, p)
    at, step = 0.0, 0
    while at < for_s:
        beats = float(rng.choice([0.5, 1.0, 1.0, 2.0]))
        step = int(np.clip(step + rng.integers(-3, 4), -7, 14))
        if rng.random() < 0.85:
            note = _note(rng, rate, _pitch(p["root_hz"], scale, step), beats / p["notes_hz"], timbre, p)
            texture.put(out, int(at * rate), note, rng.uniform(0.4, 1.0))
        at += beats / p["notes_hz"]
    return _played(out, rate_hz, for_s, p)


def chords(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return chords that swell and die over a bass; parameters as of :func:`melody`."""
    rate, out = _half(rate_hz, for_s)
    scale, timbre, bass = _scale(rng), _timbre(rng, p), _timbre(rng, p)
    length_s = float(rng.choice([2.0, 4.0])) / p["notes_hz"]
    spread_s = rng.choice([0.0, 0.02, 0.15]) * length_s
    for at in np.arange(0.0, for_s, length_s):
        base = int(rng.integers(0, 7))
        for number, step in enumerate((0, 2, 4, 6)[: int(rng.integers(2, 5))]):
            note = _note(rng, rate, _pitch(2 * p["root_hz"], scale, base + step), length_s, timbre, p)
            texture.put(out, int((at + number * spread_s) * rate), note, rng.uniform(0.3, 0.6))
        for half in (0.0, 0.5):
            note = _note(rng, rate, _pitch(p["root_hz"] / 2, scale, base), 0.5 * length_s, bass, p)
            texture.put(out, int((at + half * length_s) * rate), note, rng.uniform(0.3, 0.9))
    return _played(out, rate_hz, for_s, p)


def beats(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return drums in a pattern that repeats, with a few low notes; parameters as of :func:`melody`."""
    rate, out = _half(rate_hz, for_s)
    scale, timbre = _scale(rng), _timbre(rng, p)
    t = np.arange(int(0.3 * rate)) / rate
    sinking = p["root_hz"] * (0.4 + rng.uniform(0.5, 3.0) * np.exp(-t / 0.02))
    drums = [np.sin(2 * np.pi * np.cumsum(sinking) / rate) * np.exp(-t / rng.uniform(0.04, 0.15))]
    for low, high in ((300.0, 2500.0), (3000.0, 10_000.0)):
        hz = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        burst = texture.noise(rng, len(t), rate, texture.peak_db(hz, 1.0, 15.0, 2.0))
        drums.append(0.4 * burst * np.exp(-t / rng.uniform(0.008, 0.08)))
    pattern = rng.random((3, 8)) < np.array([[0.35], [0.3], [0.7]])
    pattern[0, 0] = True
    steps = rng.integers(0, 7, 8)
    step_s = 0.5 / p["notes_hz"]
    for number, at in enumerate(np.arange(0.0, for_s, step_s)):
        for drum in range(3):
            if pattern[drum, number % 8]:
                texture.put(out, int(at * rate), drums[drum], rng.uniform(0.5, 1.0))
        if number % 4 == 0:
            hz = _pitch(p["root_hz"], scale, int(steps[number % 8]))
            texture.put(out, int(at * rate), _note(rng, rate, hz, 2 * step_s, timbre, p), 0.3)
    return _played(out, rate_hz, for_s, p)


def _half(rate_hz: int, for_s: float) -> tuple[int, np.ndarray]:
    rate = rate_hz // _SLOWER
    return rate, np.zeros(int(for_s * rate), np.float32)


def _scale(rng: np.random.Generator) -> np.ndarray:
    """Return seven steps of an octave out of twelve, any that leave no step too wide."""
    steps = [0]
    for width in rng.permutation([1, 1, 2, 2, 2, 2]):
        steps.append(steps[-1] + int(width))
    return np.array(steps)


def _pitch(root_hz: float, scale: np.ndarray, step: int) -> float:
    return float(root_hz * 2 ** (step // 7 + scale[step % 7] / 12))


def _timbre(rng: np.random.Generator, p: Mapping[str, Any]) -> np.ndarray:
    """Return how strong harmonics are; a reed or a stopped pipe has hardly any even ones."""
    k = np.arange(1, 25)
    amplitudes = k ** -p["dull"] * rng.lognormal(0.0, 0.6, len(k))
    amplitudes[1::2] *= rng.choice([1.0, 1.0, 0.1])
    return amplitudes


def _note(
    rng: np.random.Generator,
    rate_hz: int,
    hz: float,
    length_s: float,
    timbre: np.ndarray,
    p: Mapping[str, Any],
) -> np.ndarray:
    n = max(64, int(1.2 * length_s * rate_hz))
    t = np.arange(n, dtype=np.float32) / rate_hz
    moving = min(hz, 4000.0) * (
        1 + p["vibrato"] * np.sin(2 * np.pi * rng.uniform(4.0, 7.0) * t + rng.random())
    )
    wave = texture.turning(rng, moving, rate_hz, timbre)
    return texture.ends(
        wave * np.exp(-t / p["decay_s"]), rate_hz, min(p["attack_s"], 0.4 * length_s), 0.2 * length_s
    )


def _played(wave: np.ndarray, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    wave = texture.limited(wave, rate_hz // _SLOWER, p["low_hz"], p["high_hz"])
    return texture.ends(texture.raised(wave, _SLOWER, int(for_s * rate_hz)), rate_hz, 0.02, 0.05)
