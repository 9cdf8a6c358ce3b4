"""Short sounds of struck things: clicks, trains of them, thumps, clatter, drips, ticks."""

from __future__ import annotations

import numpy as np

from synthetic_audio.second.modes import Bank, bar, plate, strike, unit
from synthetic_audio.second.spec import RATE_HZ
from synthetic_audio.second.stage import Stage


def _valve(rng: np.random.Generator) -> tuple[Bank, Bank]:
    """Return the small hard parts and the housing that answer an armature or a contact."""
    parts = plate(
        rng,
        rng.uniform(900, 1600),
        rng.uniform(7000, 10_000),
        int(rng.integers(28, 64)),
        rng.uniform(0.0025, 0.006),
    )
    housing = plate(rng, 220, 1100, 9, rng.uniform(0.006, 0.011))
    return parts, housing


def _blow(rng: np.random.Generator, parts: Bank, housing: Bank, bounces: int, contact_s: float) -> np.ndarray:
    """Return one stroke with its bounces, 80 ms, first contact at once."""
    gaps = rng.uniform(0.0009, 0.0045, bounces)
    times = np.concatenate([[0.0], np.cumsum(gaps)])
    sizes = np.concatenate(
        [[1.0], rng.uniform(0.25, 0.6) ** np.arange(1, bounces + 1) * rng.uniform(0.6, 1.3, bounces)]
    )
    sharp = strike(parts, times, sizes, contact_s, 0.08)
    dull = strike(housing, times, sizes, 4 * contact_s, 0.08)
    share = 10 ** (rng.uniform(-22, -12) / 20)
    return sharp / max(np.abs(sharp).max(), 1e-12) + share * dull / max(np.abs(dull).max(), 1e-12)


def click(_n: int, rng: np.random.Generator, _stage: Stage, *, drop: bool = False) -> np.ndarray:
    """Return one click of an armature or a contact, 80 ms; `drop` is the softer fall by the spring."""
    parts, housing = _valve(rng)
    bounces = int(rng.integers(1, 5))
    contact_s = rng.uniform(0.00006, 0.00018) * (1.4 if drop else 1.0)
    return unit(_blow(rng, parts, housing, bounces, contact_s))


def click_train(
    n: int, rng: np.random.Generator, _stage: Stage, *, rate_hz: float, scatter: float
) -> np.ndarray:
    """Return clicks at about `rate_hz`, gaps scattered by the share `scatter`, falling out at random."""
    parts, housing = _valve(rng)
    out = np.zeros(n + RATE_HZ // 8)
    at_s = 0.0
    while at_s < n / RATE_HZ - 0.08:
        blow = _blow(rng, parts, housing, int(rng.integers(0, 3)), rng.uniform(0.00006, 0.00018))
        low = int(at_s * RATE_HZ)
        out[low : low + blow.size] += blow * rng.uniform(0.55, 1.0)
        at_s += max(rng.gamma(1 / scatter**2, scatter**2 / rate_hz), 0.015)
    return unit(out[:n])


def thump(_n: int, rng: np.random.Generator, _stage: Stage) -> np.ndarray:
    """Return a low knock on wood, pipe or frame, 0.5 s."""
    frame = plate(rng, 45, 260, 7, rng.uniform(0.04, 0.09))
    pipe = bar(rng, rng.uniform(90, 160), 600, 0.08)
    low = strike(frame, np.zeros(1), np.ones(1), 0.005, 0.5)
    ring = strike(pipe, np.zeros(1), np.ones(1), 0.003, 0.5)
    return unit(low / np.abs(low).max() + 0.3 * ring / np.abs(ring).max())


def tick(_n: int, rng: np.random.Generator, _stage: Stage) -> np.ndarray:
    """Return one faint knock of warming sheet metal, 60 ms."""
    sheet = plate(rng, 1800, 8500, 18, 0.004)
    return unit(strike(sheet, np.zeros(1), np.ones(1), 0.00008, 0.06))


def clatter(n: int, rng: np.random.Generator, stage: Stage, *, rate_hz: float = 3.0) -> np.ndarray:
    """Return knocks of crockery and steel; recorded ones, re-pitched, where the corpus has some."""
    out = np.zeros(n + RATE_HZ)
    knocks = stage.corpus.knocks
    at_s = 0.0
    while at_s < n / RATE_HZ - 0.3:
        if knocks and rng.random() < 0.5:
            piece = _recorded_knock(knocks[rng.integers(len(knocks))].wave, rng)
        else:
            cup = bar(rng, rng.uniform(700, 2600), 14_000, rng.uniform(0.03, 0.14))
            times = np.cumsum(np.concatenate([[0.0], rng.exponential(0.03, rng.integers(1, 5))]))
            piece = strike(cup, times, rng.uniform(0.2, 1.0, times.size), 0.00015, 0.6)
            piece = piece / max(np.abs(piece).max(), 1e-12)
        low = int(at_s * RATE_HZ)
        m = min(piece.size, out.size - low)
        out[low : low + m] += piece[:m] * rng.lognormal(-0.3, 0.5)
        at_s += rng.exponential(1 / rate_hz) + 0.08
    return unit(out[:n])


def _recorded_knock(wave: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return up to 0.5 s around a loud moment of a recording, re-pitched, with soft ends, peak 1."""
    m = RATE_HZ // 2
    loud = np.flatnonzero(np.abs(wave) > 0.3)
    start = max(int(loud[rng.integers(loud.size)]) - 480, 0) if loud.size else 0
    part = wave[start : start + m]
    speed = rng.uniform(0.75, 1.3)
    piece = np.interp(np.arange(0, part.size - 1, speed), np.arange(part.size), part)
    ends = np.minimum(1, np.minimum(np.arange(piece.size) / 240, np.arange(piece.size)[::-1] / 4800))
    piece = piece * ends
    return piece / max(np.abs(piece).max(), 1e-9)


def drips(n: int, rng: np.random.Generator, _stage: Stage, *, rate_hz: float) -> np.ndarray:
    """Return drops into a tray: each a small shut-in bubble that rises in pitch, and a tap on sheet."""
    out = np.zeros(n + RATE_HZ // 5)
    sheet = plate(rng, 600, 5000, 16, 0.012)
    at_s = rng.uniform(0, 0.3 / rate_hz)
    t = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    while at_s < n / RATE_HZ - 0.1:
        pitch = rng.uniform(900, 3200)
        bubble = np.exp(-t / rng.uniform(0.004, 0.012)) * np.sin(
            2 * np.pi * pitch * (t + rng.uniform(1, 4) * t**2)
        )
        tap = strike(sheet, np.zeros(1), np.ones(1), 0.0004, 0.05)
        low = int(at_s * RATE_HZ)
        out[low : low + t.size] += rng.lognormal(-0.4, 0.4) * (
            bubble + 0.5 * tap[: t.size] / np.abs(tap).max()
        )
        at_s += rng.gamma(6, 1 / (6 * rate_hz))
    return unit(out[:n])
