"""Jets of steam: pin-hole leaks, the vent of a boiler that heats, the wand, a valve that blows off.

References
----------
Mixing noise of a jet peaks near the Strouhal number St = f d / u = 0.2 (from memory; range
0.15-0.3). Choked steam leaves a hole of 0.5 mm at about 470 m/s: the peak lies at 190 kHz, so a
microphone hears a spectrum that only rises or stays flat up to its limit. A wide opening
peaks in the audible band. Times and flutter are common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def peak_hz(diameter_m: float, speed_m_s: float, strouhal: float = 0.2) -> float:
    """Return the frequency at which a jet is loudest.

    Examples
    --------
    >>> round(peak_hz(0.0005, 470.0))
    188000
    """
    return strouhal * speed_m_s / diameter_m


def _modulated(
    rng: np.random.Generator, wave: np.ndarray, rate_hz: int, rate: float, depth: float
) -> np.ndarray:
    if depth <= 0:
        return wave
    curve = np.exp(depth * shaping.walk(rng, len(wave), rate_hz, 2 * rate))
    return wave * curve


def leak(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a pin hole at pressure: `slope_db` per octave upwards from about 1.5 kHz, steady.

    Parameters
    ----------
    p : mapping
        `slope_db`, `low_hz`, `pulse_hz` and `pulse_depth` (slow gargle), `rise_s`, `fall_s`.
    """
    n = int(for_s * rate_hz)
    exponent = p["slope_db"] / 6.02
    low = shaping.band(p.get("low_hz", 1500.0), 1e6, 2.0)
    wave = shaping.shaped_noise(rng, n, rate_hz, lambda f: low(f) * (np.maximum(f, 50) / 1000) ** exponent)
    wave = _modulated(rng, wave, rate_hz, p.get("pulse_hz", 8.0), p.get("pulse_depth", 0.0))
    return (wave * shaping.envelope(n, rate_hz, p.get("rise_s", 0.05), p.get("fall_s", 0.05))).astype(
        np.float32
    )


def vent(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return air and first steam leaving by a vacuum relief valve: grows, spits, ends at once.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `spit_hz` (5-20), `spit_depth`, `grow_db` (over its length), `end_ms` (< 300).
    """
    n = int(for_s * rate_hz)
    wave = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["peak_hz"], 1.2, 0.6))
    wave = _modulated(rng, wave, rate_hz, p["spit_hz"], p.get("spit_depth", 0.5))
    x = np.linspace(0, 1, n)
    grow = 10 ** (p["grow_db"] * (x - 1) / 20)
    return (wave * grow * shaping.envelope(n, rate_hz, 0.3, p["end_ms"] / 1000)).astype(np.float32)


def wand(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a steam tap that a hand opens: loud, rises in `rise_s`, rough while milk is drawn in."""
    n = int(for_s * rate_hz)
    wave = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p["peak_hz"], 1.0, 0.8))
    wave *= np.exp(0.15 * shaping.walk(rng, n, rate_hz, 12.0))
    tear_n = min(n, int(p.get("tear_s", 0.0) * rate_hz))
    if tear_n > rate_hz // 2:
        # Air is torn into the milk in small bites.
        start = int(0.3 * rate_hz)
        stop = min(n, start + tear_n)
        wave[start:stop] *= np.exp(0.5 * shaping.walk(rng, stop - start, rate_hz, 30.0))
        rumble = shaping.shaped_noise(rng, n - stop, rate_hz, shaping.hump(350.0, 1.5, 1.5))
        # The milk closes over the nozzle within half a second: less hiss, more rumble.
        under = np.clip(np.arange(n - stop) / (0.5 * rate_hz), 0, 1)
        wave[stop:] = (1 - 0.4 * under) * wave[stop:] + 0.8 * under * rumble
    return (wave * shaping.envelope(n, rate_hz, p["rise_s"], p.get("fall_s", 0.25))).astype(np.float32)


def blast(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a valve that lifts: full level within `rise_ms` (< 50), 0.5-16 kHz, flutters, then reseats.

    Parameters
    ----------
    p : mapping
        `peak_hz`, `rise_ms`, `flutter_hz`, `flutter_depth`, `reseat_s`.
    """
    n = int(for_s * rate_hz)
    low = shaping.band(350.0, 16_000.0, 2.0)
    peak = shaping.hump(p["peak_hz"], 1.0, 0.45)
    wave = shaping.shaped_noise(rng, n, rate_hz, lambda f: low(f) * peak(f))
    t = np.arange(n) / rate_hz
    phase = p["flutter_hz"] * t + 0.6 * shaping.walk(rng, n, rate_hz, 4.0)
    wave *= 1 + p.get("flutter_depth", 0.25) * np.sin(2 * np.pi * phase)
    # Pressure falls while it blows, by about its blow-down: a dB or two.
    wave *= 10 ** (-1.5 * t / max(for_s, 1e-3) / 20)
    return (wave * shaping.envelope(n, rate_hz, p["rise_ms"] / 1000, p.get("reseat_s", 0.15))).astype(
        np.float32
    )
