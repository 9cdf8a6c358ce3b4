"""Clicks: an armature or a contact strikes its stop, and the parts around it ring.

A fast-rising contact force of 0.5-3 ms drives a bank of damped modes between
1 and 8 kHz whose ring is below 50 ms (engineering estimate). A relay is higher,
shorter and bounces once or twice 1-5 ms later (handbook range, from memory); a
snap-action switch gives two strikes as its blade goes over; the return by
spring is softer.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.signal import butter, sosfilt

from synthetic_audio.sources import shaping

#: Ratios of the modes to the lowest one: inharmonic, as of a plate or a tube with a lid.
RATIOS = np.array([1.0, 1.37, 1.86, 2.41, 3.17, 4.05])
RING_LIMIT_MS = 48.0


def _kernel(rng: np.random.Generator, rate_hz: int, ring_hz: float, ring_ms: float) -> np.ndarray:
    freqs = ring_hz * RATIOS * rng.uniform(0.97, 1.03, len(RATIOS))
    keep = freqs < min(9000.0, 0.45 * rate_hz)
    freqs = freqs[keep]
    # Higher modes die sooner (constant loss factor: ring time ~ 1/f).
    rings = np.minimum(ring_ms * (freqs[0] / freqs) ** 0.5, RING_LIMIT_MS)
    amplitudes = rng.uniform(0.5, 1.0, len(freqs)) * (freqs[0] / freqs) ** 0.2
    return shaping.modes(rate_hz, freqs, rings, amplitudes, rng.uniform(0, 2 * np.pi, len(freqs)))


def _strikes(rng: np.random.Generator, kind: str, bounce_ms: float) -> list[tuple[float, float]]:
    """Return (delay in ms, strength) of each strike."""
    if kind == "relay":
        first = bounce_ms * rng.uniform(0.85, 1.1)
        return [(0.0, 1.0), (first, rng.uniform(0.3, 0.6)), (first * 1.7, rng.uniform(0.1, 0.3))]
    if kind == "switch":
        return [(0.0, 0.6), (rng.uniform(4, 14), 1.0), (rng.uniform(16, 20), rng.uniform(0.1, 0.3))]
    if kind == "lever":
        return [(0.0, 1.0), (rng.uniform(8, 20), rng.uniform(0.3, 0.7))]
    return [(0.0, 1.0), (rng.uniform(3, 7), rng.uniform(0.05, 0.2))]


def click(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return one click.

    Parameters
    ----------
    p : mapping
        `kind` (valve_on, valve_off, relay, switch, lever, tick), `ring_hz`,
        `ring_ms`, `pulse_ms`, `bounce_ms`.
    """
    kind = p["kind"]
    kernel = _kernel(rng, rate_hz, p["ring_hz"], p["ring_ms"])
    pulse = shaping.force_pulse(rate_hz, p["pulse_ms"], rise_ms=0.2 if kind == "valve_off" else 0.06)
    n = int(rate_hz * 0.03)
    impulses = np.zeros(n)
    for delay_ms, strength in _strikes(rng, kind, p.get("bounce_ms", 2.0)):
        impulses[min(n - 1, int(delay_ms * rate_hz / 1000))] += strength
    force = np.convolve(impulses, pulse)
    ring = shaping.strike(force, kernel)
    # The part that moves also pushes air: pressure follows the change of the force.
    ring[: len(force) - 1] += np.diff(force) * rng.uniform(0.5, 1.5)
    # Bodies much smaller than the wave radiate badly: little is heard below some 700 Hz.
    ring = sosfilt(butter(2, 700.0, "highpass", fs=rate_hz, output="sos"), ring)
    if kind == "lever":
        ring[: 4 * n] = _pad_add(ring[: 4 * n], 0.5 * _thud(rng, rate_hz))
    return ring.astype(np.float32)


def _thud(rng: np.random.Generator, rate_hz: int) -> np.ndarray:
    freqs = rng.uniform(150, 500, 3)
    wave = shaping.modes(rate_hz, freqs, np.full(3, 45.0), np.ones(3), np.zeros(3))
    return wave / np.max(np.abs(wave))


def _pad_add(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    peak = np.max(np.abs(a)) + 1e-12
    n = min(len(a), len(b))
    a = a.copy()
    a[:n] += peak * b[:n]
    return a


def click_train(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a chatter: clicks at `rate_hz` of `p["clicks_hz"]` a second, uneven in time and strength."""
    single = click(rng, rate_hz, 0.05, p)
    other = click(rng, rate_hz, 0.05, p)
    n = int(for_s * rate_hz)
    impulses, impulses_other = np.zeros(n), np.zeros(n)
    at = 0.0
    while at < for_s - 0.01:
        target = impulses if rng.random() < 0.5 else impulses_other
        target[int(at * rate_hz)] += rng.uniform(0.5, 1.0)
        at += rng.gamma(p.get("regularity", 12.0)) / p.get("regularity", 12.0) / p["clicks_hz"]
    tail = max(len(single), len(other))
    out = np.zeros(n + tail)
    for marks, kernel in ((impulses, single), (impulses_other, other)):
        wave = shaping.strike(marks, kernel)
        out[: len(wave)] += wave
    return out.astype(np.float32)
