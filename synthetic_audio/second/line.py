"""The recording phone: band by a mask over the spectrum, level, a compressor, few bits, the file's rate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.fft
import soxr

from synthetic_audio.second.spec import RATE_HZ

_BLOCK_S = 0.004


@dataclass(frozen=True, slots=True)
class Recorded:
    """What the phone hands over.

    Parameters
    ----------
    samples : ndarray of float32, shape (m,), at the phone's rate
    residue : ndarray of float32, shape (n,), at `RATE_HZ`
        What clipping and few bits added, in units of the phone's input.
    """

    samples: np.ndarray
    residue: np.ndarray


def band(wave: np.ndarray, phone: dict[str, Any]) -> np.ndarray:
    """Return the wave within the phone's band; edges fall over a third of an octave, no delay, float32."""
    n = scipy.fft.next_fast_len(wave.size, real=True)
    octave = np.log2(np.maximum(scipy.fft.rfftfreq(n, 1 / RATE_HZ), 1e-3))
    low = np.clip((octave - np.log2(phone["low_hz"])) * 3 + 1, 0, 1)
    high = np.clip((np.log2(phone["high_hz"]) - octave) * 3 + 1, 0, 1)
    mask = np.sin(np.pi / 2 * low) ** 2 * np.sin(np.pi / 2 * high) ** 2
    return scipy.fft.irfft(scipy.fft.rfft(wave, n) * mask, n)[: wave.size].astype(np.float32)


def record(wave: np.ndarray, phone: dict[str, Any], floor: float) -> Recorded:
    """Return what the phone makes of a wave that is already in its band and whose quiet room has RMS `floor`."""
    peak = max(float(np.abs(wave).max()), 1e-9)
    gain = min(10 ** (phone["floor_dbfs"] / 20) / floor, phone["peak"] / peak)
    pressed = gain * _compress(wave * gain, phone)
    held = wave * pressed
    file = soxr.resample(held, RATE_HZ, phone["rate_hz"], quality="HQ")
    out = np.clip(file, -1, 1)
    coarse = _mu_law(out) if phone["bits"] == "mu-law" else np.round(out * _steps(phone)) / _steps(phone)
    lost = soxr.resample((coarse - file).astype(np.float32), phone["rate_hz"], RATE_HZ, quality="HQ")
    lost = np.pad(lost, (0, max(wave.size - lost.size, 0)))[: wave.size]
    return Recorded(coarse.astype(np.float32), (lost / pressed).astype(np.float32))


def _steps(phone: dict[str, Any]) -> float:
    return 2.0 ** (phone["bits"] - 1)


def _compress(wave: np.ndarray, phone: dict[str, Any]) -> np.ndarray:
    """Return the compressor's gain, shape (n,): fast down, slow up, `ratio` above `threshold_dbfs`."""
    block = int(_BLOCK_S * RATE_HZ)
    n_blocks = -(-wave.size // block)
    padded = np.pad(wave, (0, n_blocks * block - wave.size)).reshape(n_blocks, block)
    level = 10 * np.log10((padded**2).mean(axis=1) + 1e-12)
    wanted = -(1 - 1 / phone["ratio"]) * np.maximum(level - phone["threshold_dbfs"], 0)
    fast, slow = (1 - np.exp(-_BLOCK_S / phone[key]) for key in ("attack_s", "release_s"))
    now, gains = 0.0, np.empty(n_blocks)
    for k, want in enumerate(wanted):
        now += (fast if want < now else slow) * (want - now)
        gains[k] = now
    gain_db = np.interp(np.arange(wave.size), (np.arange(n_blocks) + 0.5) * block, gains)
    return (10 ** (gain_db / 20)).astype(np.float32)


def _mu_law(wave: np.ndarray, mu: float = 255.0) -> np.ndarray:
    """Return the wave through 8 bits of mu-law (the continuous law of ITU-T G.711, from memory)."""
    bent = np.sign(wave) * np.log1p(mu * np.abs(wave)) / np.log1p(mu)
    steps = np.round(bent * 127) / 127
    return np.sign(steps) * np.expm1(np.abs(steps) * np.log1p(mu)) / mu
