"""A clip made audible for its reader: low hums raised for a small speaker, voices muted for sharing.

Both are for ears only; nothing is ever measured on them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import soxr
from scipy import fft

#: Hums are raised by two octaves: 100 Hz becomes 400 Hz, which a phone's speaker can play.
RAISE_FACTOR = 4
#: Above this a phone's speaker needs no help.
RAISE_BELOW_HZ = 400.0
#: Rates of the low band while it is worked on, and of what comes out.
_LOW_RATE_HZ, _OUT_RATE_HZ = 1000, 4000
#: Bands are this far apart and twice as wide, so that lines of one mains comb never share a band.
_BAND_STEP_HZ = 20.0
_LOUDEST_GAIN = 30.0
#: Around muted speech, so that no first or last syllable stays.
MUTE_MARGIN_S = 0.4
_FADE_S = 0.02


def raised(samples: np.ndarray, rate_hz: int) -> tuple[np.ndarray, int]:
    """Raise what lies under 400 Hz by two octaves, at the same pace.

    Parameters
    ----------
    samples : ndarray of float [shape=(n,)]
        Mono, full scale 1.0.
    rate_hz : int

    Returns
    -------
    samples : ndarray of float32 [shape=(m,)]
        Peak at half of full scale, or less where that would take more than 30 dB.
    rate_hz : int

    Notes
    -----
    In each narrow band the phase is multiplied and the amplitude kept, as in a
    phase vocoder without a change of pace: a steady line of f stays steady at
    4 f, and what comes and goes does so at the same moments.
    """
    low = soxr.resample(np.asarray(samples, np.float32), rate_hz, _LOW_RATE_HZ)
    n_out = len(low) * _OUT_RATE_HZ // _LOW_RATE_HZ
    if len(low) < 2:
        return np.zeros(0, np.float32), _OUT_RATE_HZ
    # Silence behind it, so that the beginning does not ring at the end.
    low = np.pad(low, (0, fft.next_fast_len(len(low) + _LOW_RATE_HZ // 5, real=True) - len(low)))
    spectrum = fft.rfft(low)
    hz = fft.rfftfreq(len(low), 1.0 / _LOW_RATE_HZ)
    t_low = np.arange(len(low)) / _LOW_RATE_HZ
    t_out = np.arange(n_out) / _OUT_RATE_HZ
    out = np.zeros(n_out)
    for centre_hz in np.arange(_BAND_STEP_HZ, RAISE_BELOW_HZ + _BAND_STEP_HZ, _BAND_STEP_HZ):
        near = np.abs(hz - centre_hz) < _BAND_STEP_HZ
        weight = 0.5 + 0.5 * np.cos(np.pi * (hz[near] - centre_hz) / _BAND_STEP_HZ)
        band = np.zeros(len(low), complex)
        band[: len(spectrum)][near] = 2.0 * spectrum[near] * weight
        # Down to zero frequency, where the fourth power of the phase needs no higher rate.
        base = fft.ifft(band) * np.exp(-2j * np.pi * centre_hz * t_low)
        size = np.abs(base)
        base = base**RAISE_FACTOR / np.maximum(size, 1e-9) ** (RAISE_FACTOR - 1)
        wide = np.interp(t_out, t_low, base.real) + 1j * np.interp(t_out, t_low, base.imag)
        out += (wide * np.exp(2j * np.pi * RAISE_FACTOR * centre_hz * t_out)).real
    peak = float(np.abs(out).max(initial=0.0))
    gain = min(0.5 / peak, _LOUDEST_GAIN) if peak > 0 else 0.0
    return (gain * out).astype(np.float32), _OUT_RATE_HZ


def speech_spans(report: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    """Return the spans (s) in which the ear heard speech, widened by a margin and joined.

    >>> speech_spans({"events": [{"sound": "speech", "onset_s": 2.0, "offset_s": 3.0}]})
    ((1.6, 3.4),)
    """
    found = sorted(
        (max(event["onset_s"] - MUTE_MARGIN_S, 0.0), event["offset_s"] + MUTE_MARGIN_S)
        for event in report["events"]
        if event["sound"] == "speech"
    )
    joined: list[tuple[float, float]] = []
    for start_s, end_s in found:
        if joined and start_s <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_s))
        else:
            joined.append((start_s, end_s))
    return tuple(joined)


def muted(samples: np.ndarray, rate_hz: int, spans: Iterable[tuple[float, float]]) -> np.ndarray:
    """Return a copy with the spans (s) silent, with short fades at their edges.

    The samples inside a span are zero: nothing of a voice is left to be raised again.
    """
    out = np.array(samples, np.float32)
    n_fade = int(_FADE_S * rate_hz)
    for start_s, end_s in spans:
        first = max(int(start_s * rate_hz), 0)
        last = min(int(np.ceil(end_s * rate_hz)), len(out))
        if last <= first:
            continue
        before = out[max(first - n_fade, 0) : first]
        before *= np.linspace(1.0, 0.0, len(before), dtype=np.float32)
        after = out[last : last + n_fade]
        after *= np.linspace(0.0, 1.0, len(after), dtype=np.float32)
        out[first:last] = 0.0
    return out
