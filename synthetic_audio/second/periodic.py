"""Sounds in step with the mains or with a shaft: pulses of force through the answer of a struck body.

Coils pull with |sin|, so at twice the mains and its multiples; a half-wave pump
strikes once a cycle; an induction motor gives a pulse per vane and one per turn at
120 f / p (1 - s) / 60 turns a second, and its field adds 2f; with the rotor held only the
field is left.
"""

from __future__ import annotations

import numpy as np

from synthetic_audio.second.grains import texture
from synthetic_audio.second.modes import place, plate, push, respond, through, unit
from synthetic_audio.second.spec import RATE_HZ
from synthetic_audio.second.stage import Stage


def _through(
    force: np.ndarray,
    rng: np.random.Generator,
    low_hz: float,
    high_hz: float,
    modes: int,
    decay_s: float,
    tilt: float,
) -> np.ndarray:
    """Return the force as a body passes it on, RMS 1 where it sounds; part of the force is radiated as it is."""
    answer = respond(plate(rng, low_hz, high_hz, modes, decay_s, tilt_db_per_octave=tilt), 8 * decay_s)
    answer[0] += 0.3
    out = through(force, answer)
    return out / max(float(np.sqrt((out**2).mean())), 1e-12)


def _ends(n: int, rise_s: float, fall_s: float) -> np.ndarray:
    """Return an envelope that rises and falls as 1 - exp, shape (n,)."""
    t = np.arange(n) / RATE_HZ
    return (1 - np.exp(-t / rise_s)) * (1 - np.exp(-t[::-1] / fall_s))


def _pull(n: int, stage: Stage, phase: float, smooth: float) -> np.ndarray:
    """Return |sin| of the mains without its mean; `smooth` 0..1 is how well a shading ring fills its dips."""
    pull = np.abs(np.sin(2 * np.pi * (stage.mains.cycles(stage.times(n)) + phase)))
    lagging = np.abs(np.sin(2 * np.pi * (stage.mains.cycles(stage.times(n)) + phase - 0.19)))
    mixed = pull + 0.8 * smooth * lagging
    return mixed - mixed.mean()


def coil_hum(n: int, rng: np.random.Generator, stage: Stage) -> np.ndarray:
    """Return the quiet hum of a coil that holds well: few lines at multiples of 2f."""
    force = _pull(n, stage, rng.random(), rng.uniform(0.4, 0.9))
    return unit(_through(force, rng, 70, 900, 14, 0.02, -4.0) * _ends(n, 0.01, 0.01))


def coil_buzz(n: int, rng: np.random.Generator, stage: Stage) -> np.ndarray:
    """Return an armature that knocks at its pole every half cycle: many lines at multiples of 2f."""
    times = stage.mains.crossings(stage.start_s, n / RATE_HZ, rng.random(), per_cycle=2)
    uneven = 1 + rng.uniform(0.0, 0.12) * (-1.0) ** np.arange(times.size)
    sizes = uneven * rng.normal(1, 0.05, times.size)
    knock = through(
        place(times + rng.normal(0, 2e-5, times.size), sizes, n), push(rng.uniform(0.0002, 0.0006))
    )
    hard = _through(knock, rng, 300, 6000, 40, rng.uniform(0.004, 0.012), -2.0)
    held = _through(_pull(n, stage, 0.0, 0.0), rng, 80, 900, 12, 0.02, -3.0)
    return unit((hard + rng.uniform(0.3, 0.8) * held) * _ends(n, 0.01, 0.01))


def stroke_pump(
    n: int,
    rng: np.random.Generator,
    stage: Stage,
    *,
    loaded: bool = True,
    missing: float = 0.0,
    build_s: float = 2.0,
) -> np.ndarray:
    """Return a half-wave pump: one stroke a mains cycle, softer as pressure builds, `missing` of them left out."""
    length_s = n / RATE_HZ
    times = stage.mains.crossings(stage.start_s, length_s, rng.random())
    sizes = rng.normal(1, 0.05, times.size) * (rng.random(times.size) >= missing)
    free = np.exp(-times / build_s) if loaded else np.ones(times.size)
    out_stroke = through(place(times, sizes * (0.6 + 0.4 * free), n), push(rng.uniform(0.0025, 0.004)))
    back = times + rng.uniform(0.4, 0.55) / stage.mains.hertz + rng.normal(0, 6e-5, times.size)
    hit = through(
        place(back, sizes * (0.25 + 0.75 * free) * rng.normal(1, 0.1, times.size), n),
        push(rng.uniform(0.0004, 0.0009)),
    )
    body = _through(out_stroke, rng, 45, 1600, 30, rng.uniform(0.003, 0.008), -2.0)
    stops = _through(hit, rng, 250, 5000, 40, rng.uniform(0.0015, 0.005), -1.0)
    return unit((body + rng.uniform(0.25, 0.6) * stops) * _ends(n, 0.02, 0.015))


def motor(
    n: int,
    rng: np.random.Generator,
    stage: Stage,
    *,
    slip: float,
    poles: int = 4,
    vanes: int = 5,
    load_slip: float = 0.0,
    rise_s: float = 0.12,
    fall_s: float = 0.35,
    rough: float = 0.15,
) -> np.ndarray:
    """Return the shaft and vane pump of a turning induction motor; its field is :func:`field`, apart.

    Parameters
    ----------
    n, rng, stage : see the other sources
    slip : float
        Share by which the shaft stays behind the field, once up to speed.
    poles, vanes : int
    load_slip : float
        Added to the slip over the first 3 s as pressure builds.
    rise_s, fall_s : float
        Times to 1/e of the run-up and, at the end, of the run-down; 0 leaves that end cut.
    rough : float
        Size of the noise of flow and bearings.
    """
    t = np.arange(n) / RATE_HZ
    off_s = n / RATE_HZ - 3 * fall_s
    speed = np.ones(n) if rise_s == 0 else 1 - np.exp(-t / rise_s)
    if fall_s:
        speed = speed * np.where(t < off_s, 1.0, np.exp(-np.maximum(t - off_s, 0) / fall_s))
    shaft_hz = shaft_rate_hz(stage.mains.hertz, poles, slip + load_slip * (1 - np.exp(-t / 1.0))) * speed
    turns = np.cumsum(shaft_hz) / RATE_HZ + rng.random()
    count = np.arange(np.ceil(turns[0] * vanes), turns[-1] * vanes)
    times = np.interp(count / vanes, turns, t)
    which = count.astype(int) % vanes
    worn = rng.normal(1, 0.18, vanes)
    sizes = worn[which] * rng.normal(1, 0.04, times.size) * np.interp(times, t, speed)
    vane = through(place(times, sizes, n), push(rng.uniform(0.0012, 0.003)))
    once = which == 0
    turn = through(place(times[once], sizes[once], n), push(rng.uniform(0.003, 0.008)))
    out = _through(vane, rng, 60, 2500, 40, rng.uniform(0.004, 0.01), -3.0)
    out += rng.uniform(0.4, 0.9) * _through(turn, rng, 40, 900, 14, rng.uniform(0.006, 0.018), -4.0)
    rush = texture(stage.corpus.noise, n, rng, [(80, -22), (300, 0), (2500, -8), (8000, -30)])
    out += rough * rush * speed**2 * (1 + 0.4 * np.sin(2 * np.pi * turns))
    return unit(out * _ends(n, 0.02 if rise_s else 0.003, 0.003))


def field(n: int, rng: np.random.Generator, stage: Stage) -> np.ndarray:
    """Return what the field of a fed motor adds, turning or not: 2f and a little of its multiples."""
    force = _pull(n, stage, rng.random(), 0.5)
    return unit(_through(force, rng, 70, 700, 10, 0.02, -4.0) * _ends(n, 0.02, 0.01))


def stalled(n: int, rng: np.random.Generator, stage: Stage) -> np.ndarray:
    """Return a motor whose rotor is held: the field alone, at multiples of 2f, strong and without a glide."""
    phase = rng.random()
    pull = _pull(n, stage, phase, 0.1)
    knocks = stage.mains.crossings(stage.start_s, n / RATE_HZ, phase, per_cycle=2)
    rattle = through(place(knocks, np.ones(knocks.size), n), push(0.0015))
    out = _through(pull, rng, 80, 1000, 16, 0.02, -3.0) + rng.uniform(0.1, 0.3) * _through(
        rattle, rng, 100, 1600, 16, 0.01, -4.0
    )
    return unit(out * _ends(n, 0.015, 0.01))


def shaft_rate_hz(mains_hz: float, poles: int, slip: np.ndarray | float) -> np.ndarray | float:
    """Return turns a second, 120 f / p (1 - s) / 60 (any handbook of electric machines)."""
    return 120 * mains_hz / poles * (1 - slip) / 60
