"""Tones and rubbing: squeal, honk, beep, rattle, scrape."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def squeal(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a narrow, warbling tone of a dry bearing or an unstable valve at `tone_hz` (0.8-6 kHz)."""
    n = int(for_s * rate_hz)
    pitch = p["tone_hz"] * (1 + p.get("warble", 0.008) * shaping.walk(rng, n, rate_hz, 5.0))
    cycles = np.cumsum(pitch) / rate_hz
    wave = shaping.read_table(shaping.make_table([1.0, 0.25, 0.08], rng.uniform(0, 6.28, 3)), cycles)
    wave *= np.exp(0.25 * shaping.walk(rng, n, rate_hz, 7.0))
    return (wave * shaping.envelope(n, rate_hz, 0.08, 0.1)).astype(np.float32)


def honk(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a self-oscillating valve: rich low tone at `tone_hz` (100-600 Hz)."""
    n = int(for_s * rate_hz)
    pitch = p["tone_hz"] * (1 + 0.01 * shaping.walk(rng, n, rate_hz, 4.0))
    k = np.arange(1, 9)
    table = shaping.make_table(k**-1.0, rng.uniform(0, 6.28, len(k)))
    wave = shaping.read_table(table, np.cumsum(pitch) / rate_hz)
    wave *= np.clip(1 + 0.3 * shaping.walk(rng, n, rate_hz, 6.0), 0.1, 2)
    return (wave * shaping.envelope(n, rate_hz, 0.05, 0.08)).astype(np.float32)


def beep(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a controller's piezo signal: `on_s` on, `off_s` off, odd harmonics."""
    n = int(for_s * rate_hz)
    t = np.arange(n) / rate_hz
    wave = sum(
        a * np.sin(2 * np.pi * k * p["tone_hz"] * t)
        for k, a in ((1, 1.0), (3, 0.25), (5, 0.1))
        if k * p["tone_hz"] < 0.45 * rate_hz
    )
    period = p.get("on_s", 0.2) + p.get("off_s", 0.2)
    gate = ((t % period) < p.get("on_s", 0.2)).astype(float)
    smooth = np.ones(max(2, int(0.003 * rate_hz)))
    gate = np.convolve(gate, smooth / len(smooth), mode="same")
    return (wave * gate).astype(np.float32)


def rattle(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a loose part shaken at the rate of a comb (`shake_hz`) with random drop-outs."""
    n = int(for_s * rate_hz)
    marks = np.zeros(n)
    for i in range(int(for_s * p["shake_hz"])):
        if rng.random() < 0.7:
            at = int((i + rng.normal(0, 0.06)) / p["shake_hz"] * rate_hz)
            if 0 <= at < n:
                marks[at] = rng.lognormal(0, 0.5)
    freqs = rng.uniform(1800, 7000, 5)
    kernel = shaping.modes(rate_hz, freqs, rng.uniform(8, 25, 5), np.ones(5), rng.uniform(0, 6.28, 5))
    gate = np.clip(0.5 + shaping.walk(rng, n, rate_hz, 2.5), 0, 1.5)
    return shaping.strike(marks * gate, kernel)[:n].astype(np.float32)


def scrape(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a short metallic rub, 1-6 kHz, made of many stick-slip steps that change speed."""
    n = int(for_s * rate_hz)
    steps_hz = 180 * (1 + 0.5 * shaping.walk(rng, n, rate_hz, 4.0)).clip(0.2)
    marks = np.zeros(n)
    jumps = np.flatnonzero(np.diff(np.floor(np.cumsum(steps_hz) / rate_hz)) > 0)
    marks[jumps] = rng.lognormal(0, 0.6, len(jumps))
    freqs = rng.uniform(1000, 6000, 5)
    kernel = shaping.modes(rate_hz, freqs, rng.uniform(4, 15, 5), np.ones(5), rng.uniform(0, 6.28, 5))
    noise = shaping.shaped_noise(rng, n, rate_hz, shaping.band(1000.0, 6000.0, 1.5))
    wave = shaping.strike(marks, kernel)[:n]
    wave = wave / (np.std(wave) + 1e-9) + 0.4 * noise
    return (wave * shaping.envelope(n, rate_hz, 0.3 * for_s, 0.4 * for_s)).astype(np.float32)
