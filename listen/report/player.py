"""The clip as a picture (PNG) and as sound a browser plays (WAV), both made from the decoded clip."""

from __future__ import annotations

import io
import math
import wave
from collections.abc import Iterable

import numpy as np
from PIL import Image

from listen.decode import DecodeWorker, open_clip
from listen.features.picture import Picture
from listen.report.sound import muted, raised

#: Wider pictures gain nothing on a page.
MAX_COLUMNS = 1600
#: Longer clips are played at this rate, so that the page stays light on a phone.
LONG_CLIP_S, LONG_CLIP_RATE_HZ = 180.0, 16_000
#: Clips longer than this are drawn and listed, not played.
PLAYABLE_S = 1800.0
#: Hums of longer clips are not raised.
RAISED_S = 180.0


def picture_png(picture: Picture) -> bytes:
    """Draw the levels as opacity (low frequencies at the bottom), to be inked by the page's colours.

    Parameters
    ----------
    picture : Picture
        `levels_db` [shape=(rows, columns)], rows rising in frequency.

    Returns
    -------
    bytes
        PNG with an alpha channel.
    """
    levels = np.asarray(picture.levels_db, np.float32)
    if levels.size == 0:
        levels = np.zeros((2, 2), np.float32)
    step = math.ceil(levels.shape[1] / MAX_COLUMNS)
    if step > 1:
        levels = np.pad(levels, ((0, 0), (0, -levels.shape[1] % step)), mode="edge")
        levels = levels.reshape(len(levels), -1, step).max(axis=2)
    floor, top = np.percentile(levels, (15.0, 99.8))
    opacity = np.clip((levels - floor) / max(float(top - floor), 12.0), 0.0, 1.0) ** 1.2
    alpha = np.round(255 * opacity[::-1]).astype(np.uint8)
    image = Image.merge("LA", (Image.new("L", alpha.shape[::-1]), Image.fromarray(alpha)))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def playable_wav(
    data: bytes, name: str, duration_s: float, worker: DecodeWorker | None = None
) -> bytes | None:
    """Return the decoded clip as 16-bit mono WAV, or None when it is too long to be played here.

    Raises
    ------
    ListenError
        When the clip cannot be decoded.
    """
    if duration_s > PLAYABLE_S:
        return None
    out = io.BytesIO()
    with open_clip(data, name=name, worker=worker) as clip, wave.open(out, "wb") as writer:
        thin = duration_s > LONG_CLIP_S and clip.rate_hz > LONG_CLIP_RATE_HZ
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(LONG_CLIP_RATE_HZ if thin else clip.rate_hz)
        stream = None
        if thin:
            import soxr

            stream = soxr.ResampleStream(clip.rate_hz, LONG_CLIP_RATE_HZ, 1, dtype="float32")
        for block in clip.blocks():
            writer.writeframes(_int16(stream.resample_chunk(block) if stream else block))
        if stream:
            writer.writeframes(_int16(stream.resample_chunk(np.zeros(0, np.float32), last=True)))
    return out.getvalue()


def raised_wav(wav: bytes) -> bytes | None:
    """Return a WAV of ours with its low hums raised for a small speaker, None where it is too long."""
    samples, rate_hz = _samples(wav)
    return _wav(*raised(samples, rate_hz)) if len(samples) <= RAISED_S * rate_hz else None


def muted_wav(wav: bytes, spans: Iterable[tuple[float, float]]) -> bytes:
    """Return a WAV of ours with spans (s) muted."""
    samples, rate_hz = _samples(wav)
    return _wav(muted(samples, rate_hz, spans), rate_hz)


def _samples(wav: bytes) -> tuple[np.ndarray, int]:
    with wave.open(io.BytesIO(wav)) as reader:
        data = reader.readframes(reader.getnframes())
        return np.frombuffer(data, "<i2").astype(np.float32) / 32767.0, reader.getframerate()


def _wav(samples: np.ndarray, rate_hz: int) -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(rate_hz)
        writer.writeframes(_int16(samples))
    return out.getvalue()


def _int16(samples: np.ndarray) -> bytes:
    return np.round(np.clip(samples, -1.0, 1.0) * 32767.0).astype("<i2").tobytes()
