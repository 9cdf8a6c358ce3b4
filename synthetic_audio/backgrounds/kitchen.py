"""Rooms and appliances: room tone, a busy kitchen, fan, grinder, cups, a box that is knocked.

Levels and rates are engineering estimates. A refrigerator is the induction
motor of :mod:`synthetic_audio.sources.motor` and a sink tap its water flow:
they are impostors because they are made alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping
from synthetic_audio.sources.motor import motor
from synthetic_audio.sources.thump import thump


def room_tone(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return steady noise that falls by `fall_db` per octave, as of a quiet room."""
    n = int(for_s * rate_hz)
    exponent = p["fall_db"] / 6.02
    wave = shaping.shaped_noise(rng, n, rate_hz, lambda f: (np.maximum(f, 30.0) / 1000) ** -exponent)
    return (wave * (1 + 0.1 * shaping.walk(rng, n, rate_hz, 0.7))).astype(np.float32)


def kitchen(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return many far things at once: uneven noise of 100 Hz-4 kHz and dull knocks."""
    n = int(for_s * rate_hz)
    wave = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(400.0, 1.0, 1.0))
    wave = wave * np.exp(0.35 * shaping.walk(rng, n, rate_hz, 2.5))
    for _ in range(rng.poisson(0.4 * for_s)):
        hit = thump(rng, rate_hz, 0.2, {"low_hz": rng.uniform(80, 200), "ring_s": 0.15, "hardness": 1.0})
        start = int(rng.integers(0, n))
        part = wave[start : start + len(hit)]
        part += rng.uniform(0.5, 2.5) * hit[: len(part)]
    return wave.astype(np.float32)


def fan(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return an extractor: broadband flow, blade pass of a slipping motor."""
    n = int(for_s * rate_hz)
    fr = 2 * p["mains_hz"] / p["poles"] * (1 - p["slip"])
    speed = 1 + 0.0008 * shaping.walk(rng, n, rate_hz, 0.8)
    cycles = np.cumsum(speed) * fr / rate_hz
    k = np.arange(1, 40)
    amplitudes = 0.2 * k**-1.0 * rng.uniform(0.3, 1, len(k))
    amplitudes[k % int(p["blades"]) == 0] *= 4
    comb = shaping.read_table(shaping.make_table(amplitudes, rng.uniform(0, 6.28, len(k))), cycles)
    flow = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["flow_peak_hz"], 0.7, 1.1))
    return (comb / (np.std(comb) + 1e-9) * 0.5 + flow).astype(np.float32)


def grinder(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a grinder: motor comb, burr teeth, cracking beans; loud from 200 Hz to 10 kHz."""
    n = int(for_s * rate_hz)
    t = np.arange(n) / rate_hz
    speed = np.clip(t / 0.25, 0, 1) * (1 - 0.04 * np.clip(t - 0.5, 0, 1)) + 0.004 * shaping.walk(
        rng, n, rate_hz, 5.0
    )
    cycles = np.cumsum(speed) * p["shaft_hz"] / rate_hz
    k = np.arange(1, 60)
    amplitudes = k**-0.8 * rng.uniform(0.2, 1, len(k))
    amplitudes[k % int(p["teeth"]) == 0] *= 4
    comb = shaping.read_table(shaping.make_table(amplitudes, rng.uniform(0, 6.28, len(k))), cycles)
    noise = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(1800.0, 0.8, 0.9))
    noise *= np.exp(0.3 * shaping.walk(rng, n, rate_hz, 25.0))
    marks = (rng.random(n, dtype=np.float32) < 150 / rate_hz) * rng.lognormal(0, 0.7, n)
    crack = shaping.modes(
        rate_hz, rng.uniform(1000, 7000, 6), np.full(6, 6.0), np.ones(6), rng.uniform(0, 6.28, 6)
    )
    cracks = shaping.strike(marks, crack)[:n]
    wave = comb / (np.std(comb) + 1e-9) + 0.9 * noise + 0.7 * cracks / (np.std(cracks) + 1e-9)
    return (wave * shaping.envelope(n, rate_hz, 0.15, 0.4)).astype(np.float32)


def clatter(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return cups, pots and spoons: several hits, each with modes of 0.3-12 kHz that ring 20-300 ms, and a crack.

    The modes of a thick cup stand far apart, those of a pot or a table close together (common knowledge).
    """
    n = int(for_s * rate_hz)
    out = np.zeros(n + rate_hz // 2)
    lowest, count = 10 ** rng.uniform(2.5, 3.4), int(rng.integers(5, 25))
    at = 0.0
    while at < max(for_s - 0.05, 0.01):
        freqs = np.minimum(lowest * (1 + np.cumsum(rng.exponential(2.5 / count**0.5, count))), 12_000.0)
        rings = np.maximum(rng.uniform(50, 300) * (freqs[0] / freqs) ** 0.5, 20.0)
        wave = shaping.modes(rate_hz, freqs, rings, rng.uniform(0.2, 1.0, count), rng.uniform(0, 6.28, count))
        crack = shaping.shaped_noise(rng, int(0.03 * rate_hz), rate_hz, shaping.hump(2500.0, 0.5, 0.5))
        crack *= np.exp(-np.arange(len(crack)) / (rng.uniform(0.001, 0.006) * rate_hz))
        wave[: len(crack)] += rng.uniform(0.3, 1.5) * np.std(wave[: len(crack)]) * crack[: len(wave)]
        start = int(at * rate_hz)
        part = out[start : start + len(wave)]
        part += rng.uniform(0.3, 1.0) * wave[: len(part)]
        at += rng.exponential(0.18) + 0.03
    return out.astype(np.float32)


def knock_box(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return one hard blow on a box."""
    return thump(rng, rate_hz, for_s, {"low_hz": p["low_hz"], "ring_s": 0.25, "hardness": 0.8})


def fridge(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a refrigerator's compressor: a motor in steady, slipping run, with a dull rumble."""
    wave = motor(rng, rate_hz, for_s, {**p, "steady": True})
    rumble = shaping.shaped_noise(rng, len(wave), rate_hz, shaping.hump(120.0, 1.5, 1.5))
    return (wave + 0.4 * np.std(wave) * rumble).astype(np.float32)
