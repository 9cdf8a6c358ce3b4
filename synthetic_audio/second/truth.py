"""How far a sound stands out, from its stem alone against all the rest.

Conventions
-----------
Frames and then frequencies are taken by falling energy of the stem until they hold
four fifths of it; there the stem's energy is set against the rest's. A click is one
frame of 20 ms from its onset. For sounds that live in lines each frequency has its
own ratio and the middle one, weighted by energy, counts, so that one clear line does
not speak for a buried comb. A scene carries its answer when each deciding sound
stands 6 dB out and the phone's band lets a quarter of its energy pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import scipy.fft

from synthetic_audio.second.spec import RATE_HZ, Label
from synthetic_audio.vocabulary import LINES

CARRY_DB = 6.0
PASSED_SHARE = 0.25
_HELD = 0.8
_CLICK = RATE_HZ // 50
_BROKEN: frozenset[str] = frozenset({"click_train", "drip", "clatter", "thump", "gravel", "burst"})


def standing_db(stem: np.ndarray, rest: np.ndarray, sound: str) -> float:
    """Return the in-band SNR in dB of a stem against the rest, both of shape (n,) over the same span."""
    power, other = _frames(stem, sound), _frames(rest, sound)
    loud = _holding(power.sum(axis=1))
    power, other = power[loud].sum(axis=0), other[loud].sum(axis=0)
    kept = _holding(power)
    power, other = power[kept] + 1e-30, other[kept] + 1e-24
    if sound not in LINES:
        return float(10 * np.log10(power.sum() / other.sum()))
    ratio = 10 * np.log10(power / other)
    order = np.argsort(ratio)
    middle = np.searchsorted(np.cumsum(power[order]), power.sum() / 2)
    return float(ratio[order][min(middle, ratio.size - 1)])


def _frames(wave: np.ndarray, sound: str) -> np.ndarray:
    """Return power by frame and frequency, shape (t, m)."""
    if sound == "click":
        frame = np.zeros(_CLICK)
        frame[: min(wave.size, _CLICK)] = wave[:_CLICK]
        frame[-_CLICK // 5 :] *= np.linspace(1, 0, _CLICK // 5)
        return np.abs(scipy.fft.rfft(frame))[None] ** 2
    n = min(wave.size, RATE_HZ if sound in LINES else 512 if sound in _BROKEN else 2048)
    wave = np.pad(wave, (0, -(wave.size - n) % (n // 2)))
    frames = np.lib.stride_tricks.sliding_window_view(wave, n)[:: n // 2]
    return np.abs(scipy.fft.rfft(frames * np.hanning(n).astype(np.float32), axis=1)) ** 2


def _holding(energy: np.ndarray) -> np.ndarray:
    """Return the indices that hold four fifths of the energy, the largest first."""
    order = np.argsort(energy)[::-1]
    total = np.cumsum(energy[order])
    return order[: int(np.searchsorted(total, _HELD * total[-1])) + 1]


def carries(deciding: Sequence[Label]) -> bool:
    """Return whether every deciding sound can be heard (or, if left out, could have been)."""
    return all(label.snr_db >= CARRY_DB and label.passed_share >= PASSED_SHARE for label in deciding)


def hidden(deciding: Sequence[Label]) -> tuple[str, ...]:
    """Return the deciding sounds that the phone's band cut away."""
    return tuple(sorted({label.sound for label in deciding if label.passed_share < PASSED_SHARE}))


def merged(labels: Sequence[Label]) -> tuple[Label, ...]:
    """Return labels by onset; hums of one side that overlap are one sound, as loud as the louder."""
    out: list[Label] = []
    for label in sorted(labels, key=lambda x: (x.onset_s, x.offset_s, x.sound)):
        same = next((k for k, x in enumerate(out) if _one(x, label)), None)
        if same is None:
            out.append(label)
        else:
            louder = max(out[same], label, key=lambda x: x.snr_db)
            first, last = min(out[same].onset_s, label.onset_s), max(out[same].offset_s, label.offset_s)
            out[same] = replace(louder, onset_s=first, offset_s=last)
    return tuple(out)


def _one(a: Label, b: Label) -> bool:
    return (
        a.sound == b.sound == "mains_hum"
        and a.source == b.source
        and not (a.absent or b.absent)
        and b.onset_s <= a.offset_s
    )
