"""How well each sound stands out, from the isolated stems, and whether a scene carries its answer.

Conventions
-----------
The in-band SNR compares, within a label's span, a stem with all the rest, both as
the microphone's linear chain would weigh them, plus the phone's own noise. It looks
at the moments, and "in band" at the frequencies, that hold 80 % of the stem's energy;
for words that live in lines only at the lines, of which the median (by energy) counts.
A scene carries its answer when every deciding label has at least 6 dB, its codec lets
at least a quarter of the energy pass, and the phone's noise suppression does not take
it for noise.
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
#: A single stroke is judged by its first 20 ms, with flanks of 4 ms before and at the end.
STROKE_S, FLANK_S = 0.020, 0.004
ONE_STROKE: frozenset[str] = frozenset({"click"})
SPARSE: frozenset[str] = frozenset(
    {
        "click_train",
        "drip",
        "clatter",
        "rattle",
        "beep",
        "splutter",
        "thump",
        "bang",
        "gurgle",
        "scrape",
        "arcing",
        "gravel",
    }
)
#: Sounds that are looked at as a whole, however long: their loudest part decides.
GROWING: frozenset[str] = frozenset({"hiss", "boil"})


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


def frames_power(wave: np.ndarray, rate_hz: int, sound: str) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies (m,) and power per frame and bin (t, m).

    A single click is one frame with short flanks (a Hann window would hide its
    onset); trains of short sounds get frames of 11 ms, lines of 2 s, the rest 43 ms.
    """
    if sound in ONE_STROKE:
        n = len(wave)
        flank = min(n // 4, int(FLANK_S * rate_hz))
        window = np.ones(n)
        window[:flank] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(flank) + 0.5) / flank)
        window[n - flank :] = window[:flank][::-1]
    else:
        n = min(len(wave), 2 * rate_hz if sound in LINES else 512 if sound in SPARSE else 2048)
        window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n) + 0.5) / n)
    frames = np.lib.stride_tricks.sliding_window_view(wave, n)[:: max(1, n // 2)]
    power = np.abs(scipy.fft.rfft(frames * window, axis=1)) ** 2
    return scipy.fft.rfftfreq(n, 1 / rate_hz), power / (np.sum(window**2) * n / 2)


def _strongest(power: np.ndarray) -> np.ndarray:
    """Return a mask of the strongest entries that together hold 80 % of the sum."""
    order = np.argsort(power, kind="stable")[::-1]
    reached = np.cumsum(power[order]) <= 0.8 * power.sum()
    mask = np.zeros(len(power), bool)
    mask[order[: int(reached.sum()) + 1]] = True
    return mask


def _lines_only(power: np.ndarray, freqs: np.ndarray) -> np.ndarray:
    """Return the power with all set to zero that does not stand above its surroundings."""
    around = median_filter(power, size=int(2 * round(12 / freqs[1]) + 1))
    peaks = power > 6 * around
    return np.where(peaks, power, 0.0) if power[peaks].sum() > 0.02 * power.sum() else power


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
    sound : str
        Word of the vocabulary; decides how it is looked at.
    stem, rest : np.ndarray [shape=(n,)]
        The sound alone, and everything else, at the microphone.
    onset_s, offset_s : float
        The label's span.
    rate_hz : int
    phone : mapping or None
        Phone chain of the spec.
    """
    start, stop = int(onset_s * rate_hz), min(len(stem), int(np.ceil(offset_s * rate_hz)))
    if sound in ONE_STROKE:
        start, stop = start - int(FLANK_S * rate_hz), min(stop, start + int(STROKE_S * rate_hz))
    elif sound not in GROWING:
        start, stop = _middle(start, stop, rate_hz)
    start = max(0, start)
    if stop - start < 64:
        return (-60.0, 0.0)
    freqs, own = frames_power(stem[start:stop], rate_hz, sound)
    _, other = frames_power(rest[start:stop], rate_hz, sound)
    when = _strongest(own.sum(axis=1))
    own, other = own[when].mean(axis=0), other[when].mean(axis=0)
    low, high = phone_chain.codec_band_hz(phone)
    inside = (freqs >= low) & (freqs <= high)
    passed = float(own[inside].sum() / (own.sum() + 1e-30))
    gain = phone_chain.power_response(phone, freqs, rate_hz)
    own, other = own * gain, other * gain
    if phone is not None:
        density = (np.maximum(freqs, 60.0) / 1000) ** -0.5
        other = other + gain * 10 ** (phone["noise_db"] / 10) * density / density.sum()
    tiny = 1e-20
    if sound in LINES:
        lines = _lines_only(own, freqs)
        mask = _strongest(lines)
        # One line may coincide with another source's: the middle line, by energy, speaks for the comb.
        ratios = own[mask] / (other[mask] + tiny)
        order = np.argsort(ratios, kind="stable")
        weight = np.cumsum(own[mask][order])
        ratio = float(ratios[order][int(np.searchsorted(weight, 0.5 * weight[-1]))])
    else:
        mask = _strongest(own)
        ratio = float((own[mask].sum() + tiny) / (other[mask].sum() + tiny))
    return (float(np.clip(10 * np.log10(ratio + 1e-9), -60.0, 90.0)), passed)


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
