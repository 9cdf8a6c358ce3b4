"""How well each sound stands out, from the isolated stems, and whether a scene carries its answer.

Conventions
-----------
The in-band SNR compares, over a label's span, a stem with all the rest, both as
the microphone's linear chain would weigh them, plus the phone's own noise. "In band"
are the frequencies that hold 80 % of the stem's energy; for words that live in
lines, only the lines. A scene carries its answer when every deciding label has at
least 6 dB, its codec lets at least a quarter of the energy pass, and the phone's
noise suppression does not take it for noise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.fft
from scipy.ndimage import median_filter

from synthetic_audio import phone as phone_chain
from synthetic_audio.vocabulary import LINES, STEADY

CARRY_DB = 6.0
PASSED_SHARE = 0.25
#: A steady sound that is shorter than this outlives the suppression's memory.
ERASED_AFTER_S = 1.5
LONGEST_S = 8.0


@dataclass(frozen=True, slots=True)
class Label:
    """A sound, when it is heard, and how far it stands out.

    Parameters
    ----------
    sound : str
    onset_s, offset_s : float
    snr_db : float
        In-band, of this stem against all the rest (see the module's conventions).
    source : str
        `machine` or `background`.
    passed_share : float
        Share of the stem's energy that the codec's band lets through, 0..1.
    absent : bool
        The sound is not in the clip; `snr_db` says how far it would have stood out.
    """

    sound: str
    onset_s: float
    offset_s: float
    snr_db: float
    source: str = "machine"
    passed_share: float = 1.0
    absent: bool = False


def spectrum(wave: np.ndarray, rate_hz: int, lines: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies and mean power per bin (Welch, Hann): 1 Hz for lines, about 20 Hz else."""
    n = min(len(wave), rate_hz if lines else max(256, min(2048, len(wave))))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n) + 0.5) / n)
    starts = range(0, len(wave) - n + 1, max(1, n // 2))
    total = np.zeros(n // 2 + 1)
    for start in starts:
        total += np.abs(scipy.fft.rfft(wave[start : start + n] * window)) ** 2
    return scipy.fft.rfftfreq(n, 1 / rate_hz), total / (len(starts) * np.sum(window**2) * n / 2)


def _in_band(power: np.ndarray, freqs: np.ndarray, lines: bool) -> np.ndarray:
    """Return a mask of the strongest bins that together hold 80 % of the energy."""
    power = power.copy()
    if lines and freqs[1] <= 4.0:
        around = median_filter(power, size=int(2 * round(12 / freqs[1]) + 1))
        peaks = power > 6 * around
        if power[peaks].sum() > 0.02 * power.sum():
            power[~peaks] = 0
    order = np.argsort(power)[::-1]
    reached = np.cumsum(power[order]) <= 0.8 * power.sum()
    mask = np.zeros(len(power), bool)
    mask[order[: int(reached.sum()) + 1]] = True
    return mask


def _middle(start: int, stop: int, rate_hz: int) -> tuple[int, int]:
    """Long sounds are judged by their middle: enough of it, and no more work."""
    longest = int(LONGEST_S * rate_hz)
    if stop - start <= longest:
        return start, stop
    centre = (start + stop) // 2
    return centre - longest // 2, centre + longest // 2


def judge(
    sound: str,
    stem: np.ndarray,
    rest: np.ndarray,
    onset_s: float,
    offset_s: float,
    rate_hz: int,
    phone: Mapping[str, Any] | None,
) -> tuple[float, float]:
    """Return the in-band SNR in dB and the share of energy that the codec passes.

    Parameters
    ----------
    stem, rest : np.ndarray [shape=(n,)]
        The sound alone, and everything else, at the microphone.
    """
    start, stop = max(0, int(onset_s * rate_hz)), min(len(stem), int(np.ceil(offset_s * rate_hz)))
    if sound == "hiss" and stop - start > 4 * rate_hz:
        start = stop - 4 * rate_hz  # a growing vent is loudest, and decided, at its end
    start, stop = _middle(start, stop, rate_hz)
    if stop - start < 64:
        return (-60.0, 0.0)
    lines = sound in LINES
    freqs, own = spectrum(stem[start:stop], rate_hz, lines)
    _, other = spectrum(rest[start:stop], rate_hz, lines)
    low, high = phone_chain.codec_band_hz(phone)
    inside = (freqs >= low) & (freqs <= high)
    passed = float(own[inside].sum() / (own.sum() + 1e-30))
    gain = phone_chain.power_response(phone, freqs, rate_hz)
    own, other = own * gain, other * gain
    if phone is not None:
        density = (np.maximum(freqs, 60.0) / 1000) ** -0.5
        other = other + gain * 10 ** (phone["noise_db"] / 10) * density / density.sum()
    mask = _in_band(own, freqs, lines)
    snr = 10 * np.log10((own[mask].sum() + 1e-20) / (other[mask].sum() + 1e-20))
    return (float(np.clip(snr, -60.0, 90.0)), passed)


def erased_by(phone: Mapping[str, Any] | None, label: Label) -> bool:
    """Say whether the phone's noise suppression takes this sound away."""
    return bool(
        phone is not None
        and phone["suppression"]
        and label.sound in STEADY
        and label.offset_s - label.onset_s > ERASED_AFTER_S
    )


def carries(deciding: list[Label], phone: Mapping[str, Any] | None) -> bool:
    """Say whether the clip can carry its verdict, from the truth alone."""
    if not deciding:
        return False
    return all(
        d.snr_db >= CARRY_DB and d.passed_share >= PASSED_SHARE and not erased_by(phone, d) for d in deciding
    )
