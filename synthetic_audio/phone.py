"""What a phone does to the sound: microphone, gain control, noise suppression, clipping, band of its codec.

References
----------
Narrow-band telephone speech 300-3400 Hz at 8 kHz, wide-band 50-7000 Hz at 16 kHz (3GPP
TS 26.171 and G.712 practice); perceptual coders at voice rates cut at 14-17 kHz (from memory).
Noise suppression by minimum statistics (Martin 2001): what stays is taken for noise, so a
steady hum is gone after a second or two. Depth, delay and the slow gain are set to what
`tests/measure/phone_effect.py` measured in a browser (Chromium 156). No codec is run here:
only bands are modelled.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import scipy.fft
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d
from scipy.signal import butter, resample_poly, sosfilt, sosfreqz

from synthetic_audio.sources import shaping

#: Codec -> (low Hz, high Hz, rate Hz).
CODECS: dict[str, tuple[float, float, int]] = {
    "none": (0.0, 24_000.0, 48_000),
    "low_pass": (0.0, 16_000.0, 48_000),
    "wide_band": (50.0, 7_000.0, 16_000),
    "narrow_band": (300.0, 3_400.0, 8_000),
}
NS_N, NS_HOP = 1024, 512
#: The noise estimate follows its minimum within this; so much more than it is taken away.
NS_SETTLE_S, NS_OVER = 0.9, 2.6
#: A browser's gain control: how loud it lets a lasting sound be, after what time and how fast it gives
#: way, where peaks end.
SLOW_TARGET_DBFS, SLOW_WAIT_S, SLOW_DB_PER_S, LIMIT = -15.0, 0.4, 6.0, 0.85


def codec_band_hz(phone: Mapping[str, Any] | None) -> tuple[float, float]:
    """Return what the codec lets through."""
    if phone is None:
        return (0.0, 24_000.0)
    low, high, _ = CODECS[phone["codec"]]
    return (low, phone["lowpass_hz"] if phone["codec"] == "low_pass" else high)


def _sections(phone: Mapping[str, Any], rate_hz: int) -> np.ndarray:
    """Second-order sections of microphone and codec band."""
    parts = [butter(2, phone["highpass_hz"], "highpass", fs=rate_hz, output="sos")]
    # A resonance of the port: a peaking section (audio-EQ form), Q about 2.
    gain = 10 ** (phone["resonance_db"] / 40)
    w = 2 * np.pi * phone["resonance_hz"] / rate_hz
    alpha = np.sin(w) / 4.0
    b = np.array([1 + alpha * gain, -2 * np.cos(w), 1 - alpha * gain])
    a = np.array([1 + alpha / gain, -2 * np.cos(w), 1 - alpha / gain])
    parts.append(np.concatenate([b / a[0], a / a[0]])[None, :])
    low, high = codec_band_hz(phone)
    if low > 0:
        parts.append(butter(4, low, "highpass", fs=rate_hz, output="sos"))
    if high < 20_000:
        parts.append(butter(10, high, "lowpass", fs=rate_hz, output="sos"))
    return np.concatenate(parts)


def power_response(phone: Mapping[str, Any] | None, freqs_hz: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the power gain (m,) of the linear part of the chain."""
    if phone is None:
        return np.ones(len(freqs_hz))
    _, h = sosfreqz(_sections(phone, rate_hz), worN=np.asarray(freqs_hz), fs=rate_hz)
    return np.abs(h) ** 2


def _gain_control(wave: np.ndarray, rate_hz: int, time_s: float, strength: float) -> np.ndarray:
    """Bring short-time level towards -20 dBFS, slowly: pumps after loud sounds."""
    hop = rate_hz // 100
    count = len(wave) // hop + 1
    padded = np.pad(wave, (0, count * hop - len(wave)))
    power = np.mean(padded.reshape(count, hop) ** 2, axis=1) + 1e-9
    # Falls fast, recovers in `time_s`.
    level = np.empty(count)
    state = power[0]
    rise, fall = 1 - np.exp(-0.01 / 0.03), 1 - np.exp(-0.01 / time_s)
    for i, value in enumerate(power):
        state += (rise if value > state else fall) * (value - state)
        level[i] = state
    gain_db = np.clip(strength * (-20 - 10 * np.log10(level)), -15, 15)
    gain = 10 ** (gain_db / 20)
    return wave * np.interp(np.arange(len(wave)), np.arange(count) * hop + hop / 2, gain)


def _slow_gain(wave: np.ndarray, rate_hz: int, start_db: float) -> np.ndarray:
    """Lift everything by `start_db` and give way, 6 dB a second, only while it is too loud; limit the peaks."""
    hop = rate_hz // 100
    count = len(wave) // hop + 1
    power = np.mean(np.pad(wave, (0, count * hop - len(wave))).reshape(count, hop) ** 2, axis=1) + 1e-9
    level_db = 10 * np.log10(uniform_filter1d(power, 40, mode="nearest"))
    gain_db = np.empty(count)
    state, loud_for = start_db, 0
    for i, level in enumerate(level_db):
        loud_for = loud_for + 1 if level + state > SLOW_TARGET_DBFS else 0
        if loud_for > 100 * SLOW_WAIT_S:
            state = max(state - 0.01 * SLOW_DB_PER_S, min(state, SLOW_TARGET_DBFS - level))
        gain_db[i] = state
    at = np.arange(count) * hop + hop / 2
    out = wave * np.interp(np.arange(len(wave)), at, 10 ** (gain_db / 20))
    reach = rate_hz // 50
    peak = uniform_filter1d(maximum_filter1d(np.abs(out), 2 * reach, mode="nearest"), reach, mode="nearest")
    return out * np.minimum(1.0, LIMIT / np.maximum(peak, 1e-9))


def _suppress(wave: np.ndarray, rate_hz: int, floor_db: float, memory_s: float) -> np.ndarray:
    """Take away what does not change, tones and noise alike: gain by band from a running minimum of the power.

    What was there from the start is gone at once, what begins later stays for `memory_s` and is
    gone about a second after.
    """
    n = len(wave)
    count = n // NS_HOP + 2
    padded = np.pad(wave, (NS_HOP, count * NS_HOP + NS_N - n))
    window = np.sqrt(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(NS_N) / NS_N)).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, NS_N)[::NS_HOP][:count] * window
    spectrum = scipy.fft.rfft(frames.astype(np.float32), axis=1)
    # The mean looks back only, as what works in a call must: a stroke is held down a little at first.
    power = uniform_filter1d(np.abs(spectrum) ** 2, 5, axis=0, mode="nearest", origin=2)
    # Noise scatters from bin to bin: only a mean over neighbours has a minimum that tells its level.
    even = uniform_filter1d(uniform_filter1d(power, 15, axis=0, mode="nearest"), 3, axis=1, mode="nearest")
    span = max(3, int(memory_s * rate_hz / NS_HOP))
    noise = minimum_filter1d(even, span, axis=0, mode="nearest", origin=(span - 1) // 2)
    settle = int(NS_SETTLE_S * rate_hz / NS_HOP)
    noise = np.exp(
        uniform_filter1d(np.log(noise + 1e-15), settle, axis=0, mode="nearest", origin=(settle - 1) // 2)
    )
    gain = np.clip(1 - NS_OVER * noise / (power + 1e-15), 10 ** (floor_db / 20), 1)
    gain = uniform_filter1d(gain, 3, axis=0, mode="nearest")
    out = np.zeros(len(padded), np.float32)
    back = scipy.fft.irfft(spectrum * gain, NS_N, axis=1) * window
    # Overlap-add of half-overlapping frames: even and odd ones side by side.
    for parity in (0, 1):
        part = back[parity::2].reshape(-1)
        start = parity * NS_HOP
        out[start : start + len(part)] += part[: len(out) - start]
    return out[NS_HOP : NS_HOP + n]


def through_phone(
    wave: np.ndarray, rate_hz: int, phone: Mapping[str, Any], rng: np.random.Generator
) -> tuple[np.ndarray, int]:
    """Return what the phone stores, and its rate.

    Parameters
    ----------
    wave : np.ndarray [shape=(n,)]
        At the microphone, 48 kHz.
    phone : mapping
        `highpass_hz`, `resonance_hz`, `resonance_db`, `noise_db`, `agc` (0..1), `agc_s`, `agc_kind`
        (`fast`: towards a level, within `agc_s`; `slow`: from `agc_start_db` down, as a browser does),
        `suppression` (bool), `suppression_floor_db`, `clip` (bool), `codec`, `lowpass_hz`.
    """
    noise = 10 ** (phone["noise_db"] / 20) * shaping.shaped_noise(
        rng, len(wave), rate_hz, lambda f: (np.maximum(f, 60.0) / 1000) ** -0.25
    )
    out = sosfilt(_sections(phone, rate_hz), wave + noise)
    if phone["suppression"]:
        out = _suppress(out, rate_hz, phone["suppression_floor_db"], phone["suppression_s"])
    if phone["agc"] > 0:
        slow = phone.get("agc_kind", "fast") == "slow"
        out = (
            _slow_gain(out, rate_hz, phone["agc_start_db"])
            if slow
            else _gain_control(out, rate_hz, phone["agc_s"], phone["agc"])
        )
    peak = float(np.max(np.abs(out))) + 1e-12
    if phone["clip"]:
        # The loudest moments hit the stops.
        out = np.clip(out * (10 ** (phone["over_db"] / 20) / peak), -1.0, 1.0)
    elif peak > 0.95:
        out = out * (0.95 / peak)
    _, _, new_rate = CODECS[phone["codec"]]
    if new_rate != rate_hz:
        out = resample_poly(out, 1, rate_hz // new_rate)
    return np.clip(out, -1, 1).astype(np.float32), new_rate
