"""The room between machine and phone: image sources for the first reflections, a decaying tail after them.

References
----------
Sabine: RT60 = 0.161 V / A. Critical distance r_c = 0.057 sqrt(V / RT60) of a source without
direction; direct over reverberant level is 20 log10(r_c / r) (Kuttruff, Room Acoustics).
Image sources of a box: Allen and Berkley 1979.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

SOUND_M_S = 343.0


def direct_to_reverberant_db(volume_m3: float, rt60_s: float, distance_m: float) -> float:
    """Return the level of the direct sound over the diffuse field.

    Examples
    --------
    >>> round(direct_to_reverberant_db(50.0, 0.4, 0.637), 1)
    0.0
    """
    critical_m = 0.057 * np.sqrt(volume_m3 / rt60_s)
    return float(20 * np.log10(critical_m / distance_m))


def _images(
    rng: np.random.Generator, volume_m3: float, rt60_s: float, distance_m: float
) -> list[tuple[float, float]]:
    """Return (delay in s after the direct sound, gain to it) of reflections up to the second order."""
    height = 2.6
    width = np.sqrt(volume_m3 / height / rng.uniform(1.1, 1.9))
    size = np.array([volume_m3 / height / width, width, height])
    surface = 2 * (size[0] * size[1] + size[1] * size[2] + size[0] * size[2])
    absorbed = min(0.95, 0.161 * volume_m3 / rt60_s / surface)
    kept = np.sqrt(1 - absorbed)
    source = np.array([size[0] * rng.uniform(0.2, 0.8), 0.4, 1.2])
    direction = rng.standard_normal(3) * [1, 1, 0.4]
    direction[1] = abs(direction[1])
    mic = np.clip(source + distance_m * direction / np.linalg.norm(direction), 0.1, size - 0.1)
    straight = max(float(np.linalg.norm(mic - source)), 0.05)
    found = []
    for shift in np.ndindex(3, 3, 3):
        for flip in np.ndindex(2, 2, 2):
            order_vec = np.abs(2 * (np.array(shift) - 1) - np.array(flip))
            order = int(order_vec.sum())
            if not 1 <= order <= 2:
                continue
            image = (1 - 2 * np.array(flip)) * source + 2 * (np.array(shift) - 1) * size
            path = float(np.linalg.norm(image - mic))
            found.append(((path - straight) / SOUND_M_S, straight / path * kept**order))
    return found


def impulse_response(
    rng: np.random.Generator, rate_hz: int, volume_m3: float, rt60_s: float, distance_m: float
) -> np.ndarray:
    """Return the response (m,) of a room; the direct sound is its first sample, with gain 1."""
    n = int(1.1 * rt60_s * rate_hz)
    tail_t = np.arange(n) / rate_hz
    low, high = rng.standard_normal(n), rng.standard_normal(n)
    # Air and soft surfaces take the high part sooner: one-pole split near 3 kHz, 0.7 of the ring.
    a = np.exp(-2 * np.pi * 3000 / rate_hz)
    low = lfilter([1 - a], [1, -a], low)
    high = high - lfilter([1 - a], [1, -a], high)
    tail = low * 10 ** (-3 * tail_t / rt60_s) + 0.5 * high * 10 ** (-3 * tail_t / (0.7 * rt60_s))
    start = int(0.006 * rate_hz)
    tail[:start] = 0
    tail[start:] *= 1 - np.exp(-(tail_t[start:] - tail_t[start]) / 0.008)
    early = np.zeros(n)
    for delay_s, gain in _images(rng, volume_m3, rt60_s, distance_m):
        at = int(delay_s * rate_hz)
        if 0 < at < n:
            early[at] += gain
    wanted = 10 ** (-direct_to_reverberant_db(volume_m3, rt60_s, distance_m) / 10)
    have_early = float(np.sum(early**2))
    room_for_tail = max(wanted - have_early, 0.3 * wanted)
    tail *= np.sqrt(room_for_tail / np.sum(tail**2))
    out = early + tail
    out[0] = 1.0
    return out
