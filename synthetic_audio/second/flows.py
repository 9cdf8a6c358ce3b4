"""Sounds of steam and water: grain clouds under an envelope, and crackle from random blows."""

from __future__ import annotations

import numpy as np

from synthetic_audio.second.grains import Colour, texture
from synthetic_audio.second.modes import place, plate, respond, through, unit
from synthetic_audio.second.spec import RATE_HZ
from synthetic_audio.second.stage import Stage


def _wander(n: int, rng: np.random.Generator, depth_db: float, every_s: float) -> np.ndarray:
    """Return a slowly strolling gain, shape (n,)."""
    knots = max(4, int(n / RATE_HZ / every_s) + 3)
    walk = rng.normal(0, depth_db, knots)
    return 10 ** (np.interp(np.arange(n) / RATE_HZ, np.arange(knots) * every_s, walk) / 20)


def _edges(n: int, rise_s: float, fall_s: float) -> np.ndarray:
    """Return straight-to-round edges of the given times at both ends, shape (n,)."""
    t = np.arange(n) / RATE_HZ
    up = np.minimum(t / max(rise_s, 1e-4), 1)
    down = np.minimum(t[::-1] / max(fall_s, 1e-4), 1)
    return np.sin(np.pi / 2 * up) ** 2 * np.sin(np.pi / 2 * down) ** 2


def hiss(
    n: int,
    rng: np.random.Generator,
    stage: Stage,
    *,
    rise_s: float,
    fall_s: float,
    slope_db: float,
    knee_hz: float,
    spit: float = 0.0,
    growth_db: float = 0.0,
) -> np.ndarray:
    """Return a small jet: density rising by `slope_db` an octave above `knee_hz` up to the limit, falling below.

    `spit` is the depth (dB) of its fast flutter, `growth_db` how much louder it ends than it began.
    """
    top = slope_db * np.log2(20_000 / knee_hz)
    colour: Colour = [(knee_hz / 16, -48.0), (knee_hz, 0.0), (20_000, top)]
    wave = texture(stage.corpus.noise, n, rng, colour, grain_s=rng.uniform(0.03, 0.09), size_sigma=0.15)
    growth = 10 ** (growth_db * np.linspace(-1, 0, n) / 20)
    wave = wave * growth * _wander(n, rng, 0.5, 0.7)
    if spit:
        wave = wave * _wander(n, rng, spit, 0.06)
    return unit(wave * _edges(n, rise_s, fall_s))


def jet(
    n: int,
    rng: np.random.Generator,
    stage: Stage,
    *,
    peak_hz: float,
    rise_s: float,
    fall_s: float,
    water_s: float,
) -> np.ndarray:
    """Return the jet of an opened steam tap: a hump at `peak_hz`, spitting water for its first `water_s`."""
    colour: Colour = [
        (peak_hz / 16, -42.0),
        (peak_hz / 3, -7.0),
        (peak_hz, 0.0),
        (3 * peak_hz, -6.0),
        (20_000, -20.0),
    ]
    wave = texture(stage.corpus.noise, n, rng, colour, grain_s=0.05, size_sigma=0.25)
    t = np.arange(n) / RATE_HZ
    wet = np.exp(-t / max(water_s, 0.05))
    wave = wave * (1 + wet * (_wander(n, rng, 5.0, 0.07) - 1)) * _wander(n, rng, 0.8, 0.5)
    return unit(wave * _edges(n, rise_s, fall_s))


def blast(
    n: int, rng: np.random.Generator, stage: Stage, *, peak_hz: float, rise_s: float, fall_s: float
) -> np.ndarray:
    """Return a valve that bursts open: 500 Hz to 16 kHz, fully there within `rise_s`, reseating within `fall_s`."""
    colour: Colour = [
        (60, -50.0),
        (400, -14.0),
        (700, -4.0),
        (peak_hz, 0.0),
        (6000, -6.0),
        (16_000, -14.0),
        (20_000, -24.0),
    ]
    wave = texture(stage.corpus.noise, n, rng, colour, grain_s=0.03, size_sigma=0.35)
    t = np.arange(n) / RATE_HZ
    wave = wave * (1 + 0.5 * np.exp(-t / 0.15)) * _wander(n, rng, 1.2, 0.12)
    return unit(wave * _edges(n, rise_s, fall_s))


def burst(n: int, rng: np.random.Generator, stage: Stage, *, decay_s: float, peak_hz: float) -> np.ndarray:
    """Return a discharge into the tray: at once, 1 to 10 kHz, dying away to 1/e of its size in `decay_s`."""
    colour: Colour = [(150, -40.0), (900, -8.0), (peak_hz, 0.0), (9000, -6.0), (18_000, -26.0)]
    wave = texture(stage.corpus.noise, n, rng, colour, grain_s=0.025, size_sigma=0.3)
    t = np.arange(n) / RATE_HZ
    return unit(wave * np.exp(-t / decay_s) * _wander(n, rng, 1.5, 0.05) * _edges(n, 0.006, 0.02))


def boil(
    n: int, rng: np.random.Generator, stage: Stage, *, rise_s: float, fall_s: float, growth_db: float
) -> np.ndarray:
    """Return water at the heater: 100 Hz to 3 kHz, louder by `growth_db` towards the end, with bubbles that collapse."""
    peak = rng.uniform(280, 800)
    colour: Colour = [(40, -30.0), (110, -9.0), (peak, 0.0), (2800, -14.0), (6000, -40.0)]
    bed = texture(stage.corpus.noise, n, rng, colour, grain_s=0.12, size_sigma=0.45)
    blows = rng.poisson(35 * n / RATE_HZ)
    force = place(
        rng.uniform(0, n / RATE_HZ, blows),
        np.minimum(rng.pareto(2.5, blows), 4) * rng.choice([-1, 1], blows),
        n,
    )
    bubbles = through(force, respond(plate(rng, 180, 2600, 20, 0.008), 0.06))
    bubbles /= max(float(np.sqrt((bubbles**2).mean())), 1e-12)
    growth = 10 ** (growth_db * np.linspace(-1, 0, n) / 20)
    return unit((bed + 0.5 * bubbles) * growth * _wander(n, rng, 1.0, 0.4) * _edges(n, rise_s, fall_s))


def gravel(n: int, rng: np.random.Generator, _stage: Stage, *, blows_hz: float) -> np.ndarray:
    """Return a starved pump's crackle: dense random blows, 1 to 10 kHz, in uneven crowds."""
    length_s = n / RATE_HZ
    crowd = _wander(n, rng, 4.0, 0.11)
    out = np.zeros(n)
    for _ in range(10):
        count = rng.poisson(blows_hz * length_s / 10)
        times = rng.uniform(0, length_s, count)
        sizes = (0.3 + rng.pareto(2.2, count)) * rng.choice([-1, 1], count)
        sizes = np.clip(sizes, -8, 8) * crowd[np.minimum((times * RATE_HZ).astype(int), n - 1)]
        low = np.exp(rng.uniform(np.log(1000), np.log(4500)))
        bank = plate(rng, low, min(2.6 * low, 10_500), 6, rng.uniform(0.0007, 0.0018))
        out += through(place(times, sizes, n), respond(bank, 0.012))
    return unit(out * _edges(n, 0.08, 0.05))


def water(
    n: int, rng: np.random.Generator, stage: Stage, *, rise_s: float = 0.15, fall_s: float = 0.2
) -> np.ndarray:
    """Return running water: 400 Hz to 6 kHz, with bubbles shut in by the stream."""
    colour: Colour = [(120, -36.0), (500, -6.0), (1400, 0.0), (5000, -9.0), (14_000, -30.0)]
    bed = texture(stage.corpus.noise, n, rng, colour, grain_s=0.1, size_sigma=0.5)
    bubbles = np.zeros(n)
    for _ in range(8):
        count = rng.poisson(12 * n / RATE_HZ)
        pitch, tau = rng.uniform(500, 2800), rng.uniform(0.004, 0.014)
        t = np.arange(int(6 * tau * RATE_HZ)) / RATE_HZ
        force = place(rng.uniform(0, n / RATE_HZ, count), rng.lognormal(0, 0.5, count), n)
        bubbles += through(force, np.exp(-t / tau) * np.sin(2 * np.pi * pitch * (t + 2 * t**2)))
    bubbles /= max(float(np.sqrt((bubbles**2).mean())), 1e-12)
    return unit((bed + 0.5 * bubbles) * _wander(n, rng, 1.0, 0.2) * _edges(n, rise_s, fall_s))


def ambience(n: int, rng: np.random.Generator, stage: Stage, *, fall_db: float) -> np.ndarray:
    """Return the room with nothing in it: noise that falls by `fall_db` an octave, RMS 1."""
    colour: Colour = [(30, 0.0), (80, 0.0), (20_000, -fall_db * np.log2(250))]
    wave = texture(stage.corpus.noise, n, rng, colour, grain_s=0.3, size_sigma=0.2)
    return (wave / np.sqrt((wave**2).mean())).astype(np.float32)
