"""Far from any machine: rain, wind, a crackling fire, an engine, calls of animals and children, a crowd.

They teach that much of the world is neither a machine nor a kitchen. Rates
and colours are engineering estimates; each clip draws its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.backgrounds.voices import speech
from synthetic_audio.sources import shaping


def rain(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return rain: dense noise and `drops_hz` single drops a second on something that rings a little."""
    n = int(for_s * rate_hz)
    wave = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["peak_hz"], 1.2, 0.7))
    wave *= 1 + 0.1 * shaping.walk(rng, n, rate_hz, 0.5)
    drops = np.zeros(n)
    count = rng.poisson(p["drops_hz"] * for_s)
    drops[rng.integers(0, n, count)] = rng.lognormal(0.0, 0.8, count)
    ring = np.exp(-np.arange(int(0.01 * rate_hz)) / (0.002 * rate_hz)) * rng.normal(size=int(0.01 * rate_hz))
    wave += p["drop_gain"] * np.convolve(drops, ring)[:n]
    return wave.astype(np.float32)


def wind(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return wind or surf: noise below `peak_hz` whose loudness swells within seconds."""
    n = int(for_s * rate_hz)
    low = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["peak_hz"], 1.0, 0.9))
    swell = np.exp(p["swell"] * shaping.walk(rng, n, rate_hz, p["swell_hz"]))
    return (low * swell).astype(np.float32)


def crackle(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a fire: pops at random moments, each of its own colour and size, over a low roar."""
    n = int(for_s * rate_hz)
    wave = 0.15 * shaping.shaped_noise(rng, n, rate_hz, shaping.hump(250.0, 1.0, 1.0))
    for _ in range(rng.poisson(p["pops_hz"] * for_s)):
        length = int(rng.uniform(0.002, 0.03) * rate_hz)
        t = np.arange(length) / rate_hz
        pop = np.exp(-t / rng.uniform(0.0005, 0.006)) * np.sin(
            2 * np.pi * rng.uniform(700, 9000) * t + rng.uniform(0, 6.28)
        )
        pop += 0.5 * rng.normal(size=length) * np.exp(-t / rng.uniform(0.0003, 0.003))
        start = int(rng.integers(0, n))
        part = wave[start : start + length]
        part += rng.lognormal(0.6, 0.9) * pop[: len(part)]
    return wave.astype(np.float32)


def engine(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return an engine or rotor: pulses at `beat_hz` that wander, with noise under each pulse."""
    n = int(for_s * rate_hz)
    speed = p["beat_hz"] * np.exp(p["wander"] * shaping.walk(rng, n, rate_hz, 0.6))
    phase = np.cumsum(speed) / rate_hz
    pulse = np.exp(-(phase % 1.0) * p["sharpness"])
    k = np.arange(1, 60)
    amplitudes = k ** -rng.uniform(0.6, 1.4) * rng.uniform(0.3, 1, len(k))
    comb = shaping.read_table(shaping.make_table(amplitudes, rng.uniform(0, 6.28, len(k))), phase)
    noise = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["peak_hz"], 1.0, 0.8))
    return (comb / (np.std(comb) + 1e-9) + p["noise"] * noise * pulse).astype(np.float32)


def calls(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return barks, cries or crowing: harmonic glides of 0.1–1.5 s with pauses."""
    n = int(for_s * rate_hz)
    wave = np.zeros(n)
    at = rng.uniform(0, 0.5)
    while at < for_s - 0.1:
        length = int(min(rng.uniform(0.5, 1.5) * p["call_s"], for_s - at) * rate_hz)
        t = np.linspace(0, 1, length)
        pitch = p["pitch_hz"] * 2 ** (
            rng.uniform(-0.4, 0.4) + rng.uniform(-0.5, 0.5) * t - 0.3 * (t - 0.5) ** 2
        )
        phase = np.cumsum(pitch) / rate_hz
        k = np.arange(1, max(2, int(9000 / p["pitch_hz"])))
        amplitudes = k ** -rng.uniform(0.5, 1.5) * np.exp(
            -(((k * p["pitch_hz"] - rng.uniform(800, 3000)) / 2500) ** 2)
        )
        tone = shaping.read_table(shaping.make_table(amplitudes, rng.uniform(0, 6.28, len(k))), phase)
        shape = np.minimum(1, t / rng.uniform(0.02, 0.3)) * np.minimum(1, (1 - t) / 0.2)
        breath = rng.uniform(0, 0.4) * shaping.shaped_noise(
            rng, length, rate_hz, shaping.hump(2500.0, 1.0, 1.0)
        )
        start = int(at * rate_hz)
        part = wave[start : start + length]
        part += (shape * (tone / (np.std(tone) + 1e-9) + breath))[: len(part)]
        at += length / rate_hz + rng.exponential(p["pause_s"])
    return wave.astype(np.float32)


def crowd(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return several people who talk at once."""
    wave = np.zeros(int(for_s * rate_hz), np.float32)
    for _ in range(int(p["people"])):
        voice = speech(
            rng, rate_hz, for_s, {"pitch_hz": rng.uniform(90, 260), "syllables_hz": rng.uniform(3, 5)}
        )
        wave[: len(voice)] += rng.uniform(0.3, 1.0) * voice[: len(wave)]
    return wave
