"""What phones store sound with, at the rates of voice notes and recorder apps, and the band each passes.

AMR-WB is left out: no free encoder for it is at hand.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import av
import numpy as np
import soxr

RATE_HZ = 48_000


@dataclass(frozen=True, slots=True)
class Codec:
    """One way to store sound.

    Parameters
    ----------
    suffix : str
    high_hz : float
        Noise is passed up to here (within 6 dB; measured by this module's `measured_high_hz`).
    browser_bit_rate : int
        The browser's own recorder makes it at this rate; 0: encoded here from its samples.
    muxer, name : str
        Container and encoder of the library.
    rate_hz, bit_rate : int
    options : tuple of (str, str)
        Of the encoder.
    low_hz : float
    """

    suffix: str
    high_hz: float
    browser_bit_rate: int = 0
    muxer: str = ""
    name: str = ""
    rate_hz: int = RATE_HZ
    bit_rate: int = 0
    options: tuple[tuple[str, str], ...] = ()
    low_hz: float = 0.0


#: AAC at 64 kb/s, less for clips that would not stay within this many bits.
AAC_LARGEST_BITS = 8 * 52_000
CODECS: dict[str, Codec] = {
    "webm_opus_24k": Codec(".webm", 20_000.0, browser_bit_rate=24_000),
    "webm_opus_32k": Codec(".webm", 20_000.0, browser_bit_rate=32_000),
    "m4a_aac": Codec(".m4a", 15_800.0, muxer="ipod", name="aac", bit_rate=64_000),
    "amr_nb": Codec(
        ".amr", 3_700.0, muxer="amr", name="libopencore_amrnb", rate_hz=8_000, bit_rate=12_200, low_hz=100.0
    ),
    "ogg_opus_16k": Codec(
        ".ogg", 8_000.0, muxer="ogg", name="libopus", bit_rate=16_000, options=(("application", "voip"),)
    ),
}


def band_hz(codec: str) -> tuple[float, float]:
    """Return what a codec passes."""
    return CODECS[codec].low_hz, CODECS[codec].high_hz


def band_only(codec: str) -> dict[str, Any]:
    """Return a phone chain for the synthesiser's judge that has the codec's band and nothing else."""
    return {
        "highpass_hz": 20.0, "resonance_hz": 1000.0, "resonance_db": 0.0, "noise_db": -110.0,
        "agc": 0.0, "agc_s": 1.0, "suppression": False, "suppression_floor_db": 0.0, "suppression_s": 1.0,
        "clip": False, "over_db": 0.0,
        "codec": "low_pass", "lowpass_hz": CODECS[codec].high_hz,
    }  # fmt: skip


def encode(samples: np.ndarray, codec: str) -> bytes:
    """Store samples (n,) at 48 kHz; returns the whole file."""
    form = CODECS[codec]
    if form.rate_hz != RATE_HZ:
        samples = soxr.resample(samples, RATE_HZ, form.rate_hz)
    samples = np.clip(samples, -1, 1).astype(np.float32)
    bit_rate = form.bit_rate
    if form.name == "aac":
        bit_rate = min(bit_rate, int(AAC_LARGEST_BITS * form.rate_hz / len(samples)))
    out = io.BytesIO()
    with av.open(out, "w", format=form.muxer) as container:
        stream = container.add_stream(form.name, rate=form.rate_hz, layout="mono", options=dict(form.options))
        stream.bit_rate = bit_rate
        context = stream.codec_context
        context.open(strict=False)
        resampler = av.AudioResampler(
            context.format, "mono", form.rate_hz, frame_size=context.frame_size or None
        )
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = form.rate_hz, 0, Fraction(1, form.rate_hz)
        for ready in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(ready))
        container.mux(stream.encode(None))
    return out.getvalue()


def measured_high_hz(noise: np.ndarray, decoded: np.ndarray) -> float:
    """Return up to where white noise (n,) came back within 6 dB of its level at 1 to 3 kHz.

    Parameters
    ----------
    noise, decoded : np.ndarray [shape=(n,)]
        Before and after the codec, at 48 kHz, of about the same length.
    """
    n = min(len(noise), len(decoded)) // 1024 * 1024
    power = [
        np.mean(np.abs(np.fft.rfft(x[:n].reshape(-1, 1024) * np.hanning(1024), axis=1)) ** 2, axis=0)
        for x in (noise, decoded)
    ]
    freqs = np.fft.rfftfreq(1024, 1 / RATE_HZ)
    gain = power[1] / power[0]
    middle = gain[(freqs >= 1000) & (freqs <= 3000)].mean()
    smooth = np.convolve(gain, np.ones(9) / 9, mode="same")
    lost = freqs[(freqs > 3000) & (smooth < middle / 4)]
    return float(lost[0]) if len(lost) else RATE_HZ / 2
