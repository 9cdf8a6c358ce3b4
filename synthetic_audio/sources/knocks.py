"""Thumps of other makings, and crockery, cutlery and lids that clatter.

Doors, feet, jugs, wood and bins: what they share is a blow that is mostly low
and over at once. Clatter is many ringing strokes in seconds, never even.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping, texture


def panel(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a blow on a panel: many modes through a soft contact, and the room's boom.

    Parameters
    ----------
    p : mapping
        `low_hz`, `modes`, `spread` (highest mode over lowest), `ring_ms` (of the lowest), `tilt_db`,
        `contact_ms`, `boom` (against the panel), `boom_hz`, `boom_ms`.
    """
    count = round(p["modes"])
    freqs = np.minimum(p["low_hz"] * p["spread"] ** np.sort(rng.random(count)), 0.4 * rate_hz)
    freqs[0] = p["low_hz"]
    rings = np.clip(p["ring_ms"] * (freqs[0] / freqs) ** rng.uniform(0.2, 1.0), 3.0, 900.0)
    gains = 10 ** (-p["tilt_db"] * np.log2(freqs / freqs[0]) / 20) * rng.uniform(0.2, 1.0, count)
    wave = shaping.modes(rate_hz, freqs, rings, gains, rng.uniform(0, 2 * np.pi, count))
    wave = np.convolve(wave, shaping.force_pulse(rate_hz, p["contact_ms"], 0.2 * p["contact_ms"]))
    boom_hz = p["boom_hz"] * np.array([1.0, 1.4, 2.1]) * rng.uniform(0.9, 1.1, 3)
    boom = shaping.modes(
        rate_hz, boom_hz, p["boom_ms"] * rng.uniform(0.6, 1.0, 3), np.ones(3), rng.uniform(0, 0.5, 3)
    )
    return _sum((wave, 1.0), (boom, p["boom"]))


def slap(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a broad contact without any clear mode: a low burst that lasts and a high one that does not.

    Parameters
    ----------
    p : mapping
        `low_hz`, `low_ms`, `high_hz`, `high_ms`, `high` (against the low one), `attack_ms`, `rough_db`.
    """
    parts = []
    for hz, ms, gain in ((p["low_hz"], p["low_ms"], 1.0), (p["high_hz"], p["high_ms"], p["high"])):
        t = np.arange(max(64, int(5 * ms * rate_hz / 1000))) / rate_hz * 1000
        colour = texture.peak_db(hz, 1.0, 12.0, 3.0) + texture.colour_db(rng, 1000.0, 0.0, p["rough_db"], 24)
        burst = texture.noise(rng, len(t), rate_hz, colour) * np.exp(-t / ms)
        parts.append((burst * (1 - np.exp(-t / p["attack_ms"])), gain))
    return _sum(*parts)


def loose(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a blow after which something loose shakes: small strokes that come ever quicker and weaker.

    Parameters
    ----------
    p : mapping
        `low_hz`, `ring_ms`, `shakes`, `gap_ms`, `closer` (of each gap to the last), `shake` (against the blow),
        `shake_hz`, `shake_ms`.
    """
    freqs = p["low_hz"] * np.array([1.0, 1.7, 2.6, 4.3]) * rng.uniform(0.9, 1.1, 4)
    rings = p["ring_ms"] * (freqs[0] / freqs) ** 0.5
    blow = shaping.modes(rate_hz, freqs, rings, rng.uniform(0.3, 1.0, 4), rng.uniform(0, 0.8, 4))
    hz = np.minimum(p["shake_hz"] * 2 ** rng.uniform(-1.0, 1.5, 8), 0.42 * rate_hz)
    one = shaping.modes(
        rate_hz, hz, p["shake_ms"] * rng.uniform(0.3, 1.0, 8), np.ones(8), rng.uniform(0, 6.28, 8)
    )
    one = texture.unit(one)
    count = round(p["shakes"])
    gaps = p["gap_ms"] * min(1.0, p["closer"]) ** np.arange(count) * rng.lognormal(0.0, 0.3, count)
    times = (np.cumsum(gaps) * rate_hz / 1000).astype(int)
    rattle = np.zeros(int(times[-1]) + len(one))
    for at, size in zip(times, np.linspace(1.0, 0.2, count) * rng.lognormal(0.0, 0.4, count), strict=True):
        texture.put(rattle, int(at), one, size)
    return _sum((blow, 1.0), (rattle, p["shake"]))


def hollow(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a hollow thing, a bin or a cupboard: noise of the contact in its air, whose pitch sinks.

    Parameters
    ----------
    p : mapping
        `air_hz`, `sharp` (periods to -60 dB), `sink` (of the pitch, share), `breath` (noise in it), `walls_hz`,
        `walls` (against the air), `walls_ms`.
    """
    n = max(256, int(rate_hz * min(0.9, p["sharp"] / p["air_hz"])))
    t = np.linspace(0.0, 1.0, n)
    hz = p["air_hz"] * (1 - min(0.6, p["sink"]) * t)
    air = np.sin(2 * np.pi * np.cumsum(hz) / rate_hz) * np.exp(-6.9 * t)
    colour = texture.peak_db(2 * p["air_hz"], 1.2, 12.0, 2.0)
    air += p["breath"] * texture.noise(rng, n, rate_hz, colour) * np.exp(-12 * t)
    walls_hz = np.minimum(p["walls_hz"] * 2 ** rng.uniform(-1.0, 1.5, 12), 0.4 * rate_hz)
    walls = shaping.modes(
        rate_hz, walls_hz, p["walls_ms"] * rng.uniform(0.3, 1.0, 12), np.ones(12), rng.uniform(0, 6.28, 12)
    )
    return _sum((air, 1.0), (walls, p["walls"]))


def scuff(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return what is heard just before a thing is set down: cloth, a hand, a foot that drags.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `flicker_db`, `flicker_hz`.
    """
    n = int(for_s * rate_hz)
    wave = texture.noise(rng, n, rate_hz, texture.peak_db(p["peak_hz"], 1.5, 8.0, 3.0))
    wave *= texture.drift(rng, n, rate_hz, p["flicker_db"], p["flicker_hz"])
    return texture.ends(wave, rate_hz, 0.7 * for_s, 0.1 * for_s)


def crockery(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return bowls, cups and glasses that touch: few things, each with its own notes, struck anew and anew.

    Parameters
    ----------
    p : mapping
        Of all clatter: `things`, `strokes_hz`, `clump` (unevenness in time), `spread_db`, `low_hz`, `ring_ms`.
        Its own: `modes`, `stretch` (highest over lowest), `click` (share of contact noise).
    """
    kernels = []
    for _ in range(round(p["things"])):
        count = max(2, round(p["modes"]))
        freqs = p["low_hz"] * rng.lognormal(0.0, 0.4) * p["stretch"] ** np.sort(rng.random(count))
        freqs = np.minimum(freqs, 0.42 * rate_hz)
        rings = np.clip(p["ring_ms"] * rng.lognormal(0.0, 0.3) * (freqs[0] / freqs) ** 0.5, 8.0, 1000.0)
        wave = shaping.modes(rate_hz, freqs, rings, rng.uniform(0.1, 1.0, count), rng.uniform(0, 6.28, count))
        touch = texture.noise(rng, 200, rate_hz, texture.colour_db(rng, 1000.0, 0.0, 4.0)) * np.exp(
            -np.arange(200) / 40
        )
        texture.put(wave, 0, touch, p["click"] * float(np.max(np.abs(wave))))
        kernels.append(wave / np.max(np.abs(wave)))
    return _strewn(rng, rate_hz, for_s, p, kernels)


def cutlery(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return thin metal in a drawer: bundles of short jingling touches.

    Parameters
    ----------
    p : mapping
        As of :func:`crockery`, and `touches` (in a bundle), `touch_gap_ms`, `rough_db`.
    """
    kernels = []
    for _ in range(round(p["things"])):
        size = max(64, int(p["ring_ms"] * rng.lognormal(0.0, 0.3) * rate_hz / 1000))
        colour = texture.peak_db(min(4 * p["low_hz"], 9000.0), 1.5, 10.0, 2.0)
        jingle = texture.noise(
            rng, size, rate_hz, colour + texture.colour_db(rng, 1000.0, 0.0, p["rough_db"], 90)
        )
        jingle *= np.exp(-6.9 * np.arange(size) / size)
        gaps = rng.exponential(p["touch_gap_ms"], max(1, round(p["touches"]))) * rate_hz / 1000
        times = np.cumsum(gaps).astype(int)
        bundle = np.zeros(int(times[-1]) + size)
        for at in times:
            texture.put(bundle, int(at), jingle, rng.lognormal(0.0, 0.6))
        kernels.append(bundle / np.max(np.abs(bundle)))
    return _strewn(rng, rate_hz, for_s, p, kernels)


def _strewn(
    rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any], kernels: list[np.ndarray]
) -> np.ndarray:
    """Play the things' strokes, unevenly; the first comes at once."""
    out = np.zeros(int((for_s + 0.5) * rate_hz))
    at = 0.0
    while at < for_s:
        kernel = kernels[int(rng.integers(len(kernels)))]
        texture.put(
            out, int(at * rate_hz), kernel, 10 ** (p["spread_db"] * float(rng.standard_normal()) / 20)
        )
        at += float(rng.lognormal(0.0, p["clump"])) / p["strokes_hz"]
    return out.astype(np.float32)


def _sum(*parts: tuple[np.ndarray, float]) -> np.ndarray:
    """Return the sum of waves at peak 1, each times its gain."""
    out = np.zeros(max(len(wave) for wave, _ in parts))
    for wave, gain in parts:
        texture.put(out, 0, wave, gain / (float(np.max(np.abs(wave))) + 1e-12))
    # What has not died away when it is cut would click.
    fade = len(out) // 20 + 1
    out[len(out) - fade :] *= np.linspace(1.0, 0.0, fade)
    return out.astype(np.float32)
