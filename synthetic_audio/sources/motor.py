"""An induction motor that turns a vane pump.

References
----------
Synchronous speed n_s = 120 f / p rpm; shaft rate f_r = (2 f / p)(1 - s) with slip s
(IEC 60034-1 terms; any text on electrical machines). Vane pass = vanes x f_r. A
loaded rotor beats at twice the slip rate, 2 s f, around the magnetic 2f line.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from synthetic_audio.sources import shaping


def shaft_hz(mains_hz: float, poles: int, slip: float) -> float:
    """Return the shaft rate of an induction motor.

    Examples
    --------
    >>> round(shaft_hz(60.0, 4, 0.03) * 60, 3)
    1746.0
    """
    return 2 * mains_hz / poles * (1 - slip)


def speed_curve(n: int, rate_hz: int, on_s: float, run_up_s: float, run_down_s: float) -> np.ndarray:
    """Return speed over final speed (n,): run-up from standstill, run, run-down after `on_s`."""
    t = np.arange(n) / rate_hz
    up = 1 - np.exp(-np.minimum(4.5 * (t / run_up_s) ** 1.5, 60.0))
    # Friction and load stop a small pump roughly linearly, and it does stop.
    down = np.clip(1 - (t - on_s) / run_down_s, 0, 1)
    return np.where(t < on_s, up, down * (1 - np.exp(-4.5 * (on_s / run_up_s) ** 1.5)))


def motor(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return the sound of the turning parts: shaft comb, vane pass, flow noise (without the magnetic 2f).

    Parameters
    ----------
    p : mapping
        `mains_hz`, `poles`, `slip`, `vanes`, `vane_gain_db`, `shaft_tilt_db`, `body_hz`,
        `run_up_s`, `run_down_s`, `flow_db` (flow noise against the comb),
        `flow_peak_hz`; `steady` (bool) starts and ends in full run.
    """
    fr = shaft_hz(p["mains_hz"], p["poles"], p["slip"])
    run_down_s = 0.02 if p.get("steady") else p["run_down_s"]
    n = int((for_s + run_down_s) * rate_hz)
    if p.get("steady"):
        speed = np.ones(n)
    else:
        speed = speed_curve(n, rate_hz, for_s, p["run_up_s"], p["run_down_s"])
    # Load wanders a little, and the speed with it: a turning shaft is never as steady as the mains.
    speed = speed * (1 + 0.0004 * shaping.walk(rng, n, rate_hz, 1.5))
    cycles = np.cumsum(speed) * fr / rate_hz + rng.random()
    count = int(6000 / fr)
    k = np.arange(1, count + 1)
    vanes = int(p["vanes"])
    amplitudes = k ** (-p["shaft_tilt_db"] / 6.02) * rng.uniform(0.4, 1.3, count)
    amplitudes[k % vanes == 0] *= 10 ** (p["vane_gain_db"] / 20)
    amplitudes *= shaping.body_gain(fr * k, p["body_hz"]) / (1 + (fr * k / 1500) ** 2)
    wave = shaping.read_table(shaping.make_table(amplitudes, rng.uniform(0, 2 * np.pi, count)), cycles)
    level = np.sqrt(np.sum(amplitudes**2) / 2)
    wave *= 1 + p.get("slip_depth", 0.08) * np.cos(
        2 * np.pi * 2 * p["slip"] * p["mains_hz"] * np.arange(n) / rate_hz
    )
    flow = shaping.shaped_noise(rng, n, rate_hz, shaping.hump(p.get("flow_peak_hz", 1500.0), 1.0, 1.2))
    # Flow is never even: turbulence and bearings swell and sink several times a second.
    flow *= (1 + 0.3 * np.cos(2 * np.pi * vanes * cycles)) * np.exp(0.12 * shaping.walk(rng, n, rate_hz, 6.0))
    wave += 10 ** (p.get("flow_db", -6.0) / 20) * level * flow
    wave *= np.clip(speed, 0, 1.2) ** 2
    if p.get("steady"):
        wave *= shaping.envelope(n, rate_hz, 0.02, 0.02)
    return wave.astype(np.float32)
