"""What is not the machine: refrigerator, fan, grinder, voices, a plucked tune."""

from __future__ import annotations

import numpy as np

from synthetic_audio.second.grains import Colour, texture
from synthetic_audio.second.modes import Bank, place, plate, push, respond, strike, through, unit
from synthetic_audio.second.periodic import motor
from synthetic_audio.second.spec import RATE_HZ
from synthetic_audio.second.stage import Stage


def fridge(n: int, rng: np.random.Generator, stage: Stage, *, slip: float) -> np.ndarray:
    """Return a hermetic compressor: the shaft of a two-pole motor that slips, two strokes a turn."""
    return motor(n, rng, stage, slip=slip, poles=2, vanes=2, rise_s=0, fall_s=0, rough=0.25)


def fan(n: int, rng: np.random.Generator, stage: Stage, *, turn_hz: float, blades: int) -> np.ndarray:
    """Return an extractor: broad rush below 2 kHz that beats with the blades, and a weak blade tone."""
    colour: Colour = [(40, -12.0), (150, 0.0), (900, -5.0), (3000, -20.0), (12_000, -44.0)]
    rush = texture(stage.corpus.noise, n, rng, colour, grain_s=0.15, size_sigma=0.2)
    t = np.arange(n) / RATE_HZ
    turns = np.cumsum(turn_hz * (1 + 0.003 * np.sin(2 * np.pi * t / 4.3))) / RATE_HZ
    passing = np.interp(np.arange(np.ceil(turns[-1] * blades)) / blades, turns, t)
    tone = through(place(passing, rng.normal(1, 0.1, passing.size), n), push(0.004))
    tone /= max(float(np.sqrt((tone**2).mean())), 1e-12)
    return unit(rush * (1 + 0.2 * np.sin(2 * np.pi * turns)) + 0.25 * (tone - tone.mean()))


def grinder(n: int, rng: np.random.Generator, stage: Stage, *, turn_hz: float) -> np.ndarray:
    """Return a coffee grinder: a fast motor that sags under load, burr noise, beans that crack and knock."""
    t = np.arange(n) / RATE_HZ
    length_s = n / RATE_HZ
    sag = np.interp(t, np.linspace(0, length_s, 12), rng.normal(0, 0.03, 12))
    speed = (
        turn_hz
        * (1 - np.exp(-t / 0.15))
        * (1 + sag)
        * np.where(t > length_s - 0.5, np.exp(-(t - length_s + 0.5) / 0.2), 1)
    )
    turns = np.cumsum(speed) / RATE_HZ
    passing = np.interp(np.arange(np.ceil(turns[-1] * 4)) / 4, turns, t)
    whine = through(
        place(passing, rng.normal(1, 0.25, passing.size), n), respond(plate(rng, 180, 5000, 40, 0.006), 0.05)
    )
    colour: Colour = [(120, -18.0), (700, -2.0), (2500, 0.0), (7000, -8.0), (18_000, -26.0)]
    burr = texture(stage.corpus.noise, n, rng, colour, grain_s=0.02, size_sigma=0.6)
    count = rng.poisson(60 * length_s)
    beans = through(
        place(rng.uniform(0, length_s, count), rng.pareto(2.5, count), n),
        respond(plate(rng, 900, 7000, 24, 0.004), 0.03),
    )
    parts = [part / max(float(np.sqrt((part**2).mean())), 1e-12) for part in (whine, burr, beans)]
    return unit((0.7 * parts[0] + parts[1] + 0.7 * parts[2]) * speed / turn_hz)


def voices(n: int, rng: np.random.Generator, stage: Stage, *, pitch_hz: float) -> np.ndarray:
    """Return talk: long grains of recorded voices where the corpus has some, else buzzing through moving formants."""
    out = np.zeros(n + RATE_HZ)
    at = 0
    while at < n:
        m = int(rng.uniform(0.09, 0.32) * RATE_HZ)
        piece = (
            _recorded_piece(stage, m, rng)
            if stage.corpus.voice
            else _syllable(m, pitch_hz * rng.lognormal(0, 0.12), rng)
        )
        window = np.minimum(1, np.minimum(np.arange(m), np.arange(m)[::-1]) / (0.02 * RATE_HZ))
        out[at : at + m] += piece * window * rng.lognormal(0, 0.3)
        at += int(m * 0.9) + (int(rng.uniform(0.15, 0.5) * RATE_HZ) if rng.random() < 0.15 else 0)
    return unit(out[:n])


def _recorded_piece(stage: Stage, m: int, rng: np.random.Generator) -> np.ndarray:
    wave = stage.corpus.voice[rng.integers(len(stage.corpus.voice))].wave
    speed = rng.uniform(0.85, 1.18)
    start = int(rng.integers(0, max(wave.size - int(m * speed) - 2, 1)))
    part = wave[start : start + int(m * speed) + 2]
    return np.interp(np.arange(m) * speed, np.arange(part.size), part, right=0.0)


def _syllable(m: int, pitch_hz: float, rng: np.random.Generator) -> np.ndarray:
    """Return a voiced syllable: pulses of breath through three decaying formants."""
    t = np.arange(m) / RATE_HZ
    turns = np.cumsum(pitch_hz * (1 + 0.15 * np.cos(np.pi * t * RATE_HZ / m))) / RATE_HZ
    pulses = np.interp(np.arange(np.ceil(turns[-1])), turns, t)
    force = through(place(pulses, rng.normal(1, 0.08, pulses.size), m), push(0.0012))
    ring = np.arange(int(0.03 * RATE_HZ)) / RATE_HZ
    answer = np.zeros(ring.size)
    for low, high, width, size in ((280, 800, 80, 1.0), (900, 2200, 110, 0.5), (2300, 3200, 170, 0.25)):
        answer += size * np.exp(-np.pi * width * ring) * np.sin(2 * np.pi * rng.uniform(low, high) * ring)
    voiced = through(force, answer)
    breath = rng.uniform(-1, 1, m) * 0.04 * np.abs(voiced).max()
    return (voiced + breath) / max(np.abs(voiced).max(), 1e-12)


def tune(n: int, rng: np.random.Generator, _stage: Stage, *, key_hz: float) -> np.ndarray:
    """Return plucked strings in a scale of five notes, as a radio in the next room plays."""
    out = np.zeros(n + 2 * RATE_HZ)
    scale = key_hz * 2.0 ** (np.array([0, 2, 4, 7, 9, 12, 14, 16]) / 12)
    strings = [_string(float(note), rng) for note in scale]
    beat_s = rng.uniform(0.22, 0.42)
    for at_s in np.arange(0, n / RATE_HZ, beat_s):
        low = int(at_s * RATE_HZ)
        for which in rng.choice(len(strings), rng.integers(1, 4), replace=False):
            out[low : low + strings[which].size] += strings[which] * rng.uniform(0.4, 1)
    return unit(out[:n])


def _string(note_hz: float, rng: np.random.Generator) -> np.ndarray:
    part = np.arange(1, max(int(9000 / note_hz), 2))
    string = Bank(note_hz * part, 0.3 / part**0.7, rng.uniform(0.4, 1.0, part.size) / part)
    piece = strike(string, np.zeros(1), np.ones(1), 0.0006, 1.0)
    return piece / max(np.abs(piece).max(), 1e-12)
