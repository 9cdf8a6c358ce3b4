"""Write known samples into any recording format, for tests.

PyAV does the encoding; :mod:`listen` is not used, so that a test that decodes
these files checks against something outside the project. AMR-WB has no free
encoder here: :func:`amr_wb` lays out frames by hand (RFC 4867, section 5.3).
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction

import av
import numpy as np
import soundfile
from av.stream import Disposition


@dataclass(frozen=True)
class Format:
    """One way to store sound.

    Attributes
    ----------
    muxer, codec : str
        Names of the encoder's library.
    suffix : str
        Usual ending of the file name.
    lossy_db : float
        Allowed error of a steady tone's level, dB.
    rates_hz : tuple of int
        Rates the codec stores; empty means any.
    bit_rate : int
        Bits a second, 0 for the codec's own choice.
    sample_format : str
        Input format of the encoder; empty for its first choice.
    video : str
        Codec of a small video track to add, as a phone's camera does.
    mono_only : bool
    """

    muxer: str
    codec: str
    suffix: str
    lossy_db: float = 0.01
    rates_hz: tuple[int, ...] = ()
    bit_rate: int = 0
    sample_format: str = ""
    video: str = ""
    mono_only: bool = False


_AAC = {"lossy_db": 0.5, "bit_rate": 128_000}
_OPUS_RATES = (8_000, 12_000, 16_000, 24_000, 48_000)
_MP3_RATES = (8_000, 16_000, 22_050, 32_000, 44_100, 48_000)
FORMATS: dict[str, Format] = {
    "m4a_aac": Format("ipod", "aac", ".m4a", rates_hz=(8_000, 16_000, 44_100, 48_000, 96_000), **_AAC),
    "m4a_alac": Format("ipod", "alac", ".m4a"),
    "mp4_video": Format("mp4", "aac", ".mp4", rates_hz=(44_100, 48_000), video="libx264", **_AAC),
    "mov_video": Format("mov", "aac", ".mov", rates_hz=(44_100, 48_000), video="mpeg4", **_AAC),
    "mov_pcm": Format("mov", "pcm_s16le", ".mov"),
    "3gp_amr_nb": Format("3gp", "libopencore_amrnb", ".3gp", 3.0, (8_000,), bit_rate=12_200, mono_only=True),
    "3gp_aac": Format("3gp", "aac", ".3gp", rates_hz=(16_000, 44_100), **_AAC),
    "amr_nb": Format("amr", "libopencore_amrnb", ".amr", 3.0, (8_000,), bit_rate=12_200, mono_only=True),
    "ogg_opus": Format("ogg", "libopus", ".ogg", 1.0, _OPUS_RATES, bit_rate=64_000),
    "webm_opus": Format("webm", "libopus", ".webm", 1.0, _OPUS_RATES, bit_rate=64_000),
    "ogg_vorbis": Format("OGG", "VORBIS", ".ogg", 1.0, (16_000, 44_100, 48_000)),
    "ogg_flac": Format("ogg", "flac", ".ogg", sample_format="s16"),
    "mp3": Format("mp3", "libmp3lame", ".mp3", 0.5, _MP3_RATES, bit_rate=128_000),
    "flac": Format("flac", "flac", ".flac", sample_format="s16"),
    "flac_24": Format("flac", "flac", ".flac", sample_format="s32"),
    "caf_pcm": Format("caf", "pcm_s16be", ".caf"),
    "caf_alac": Format("caf", "alac", ".caf"),
    "aiff": Format("aiff", "pcm_s16be", ".aiff"),
    "aiff_24": Format("aiff", "pcm_s24be", ".aif"),
    "wav_16": Format("wav", "pcm_s16le", ".wav"),
    "wav_24": Format("wav", "pcm_s24le", ".wav"),
    "wav_32": Format("wav", "pcm_s32le", ".wav"),
    "wav_f32": Format("wav", "pcm_f32le", ".wav"),
    "wav_f64": Format("wav", "pcm_f64le", ".wav"),
    "wav_u8": Format("wav", "pcm_u8", ".wav", 0.1),
    "wav_mulaw": Format("wav", "pcm_mulaw", ".wav", 0.1),
    "wav_alaw": Format("wav", "pcm_alaw", ".wav", 0.1),
    "au_mulaw": Format("au", "pcm_mulaw", ".au", 0.1),
    "adts_aac": Format("adts", "aac", ".aac", rates_hz=(8_000, 16_000, 44_100, 48_000, 96_000), **_AAC),
    "mka_flac": Format("matroska", "flac", ".mka", sample_format="s16"),
}


def tone(
    rate_hz: int, duration_s: float = 2.0, *, hz: float = 440.0, level: float = 0.5, channels: int = 1
) -> np.ndarray:
    """Return a sine tone, float32, shape (channels, n)."""
    n = round(duration_s * rate_hz)
    one = level * np.sin(2 * np.pi * hz * np.arange(n) / rate_hz)
    return np.tile(one.astype(np.float32), (channels, 1))


def encode(
    samples: np.ndarray, rate_hz: int, format_name: str, *, metadata: dict[str, str] | None = None
) -> bytes:
    """Store samples in a format of :data:`FORMATS`.

    Parameters
    ----------
    samples : ndarray
        float32, shape (n,) or (channels, n), full scale 1.0.
    rate_hz : int
    format_name : str
    metadata : dict, optional

    Returns
    -------
    bytes
        The whole file.
    """
    form = FORMATS[format_name]
    samples = np.atleast_2d(np.asarray(samples, dtype=np.float32))
    if form.muxer.isupper():  # the encoder library has no Vorbis encoder for mono: libsndfile has
        out = io.BytesIO()
        soundfile.write(out, samples.T, rate_hz, format=form.muxer, subtype=form.codec)
        return out.getvalue()
    layout = {1: "mono", 2: "stereo", 6: "5.1"}[samples.shape[0]]
    out = io.BytesIO()
    with av.open(out, "w", format=form.muxer) as container:
        for key, value in (metadata or {}).items():
            container.metadata[key] = value
        pictures = _Pictures(container, form.video, samples.shape[1] / rate_hz) if form.video else None
        stream = container.add_stream(form.codec, rate=rate_hz, layout=layout)
        if form.bit_rate:
            stream.bit_rate = form.bit_rate
        context = stream.codec_context
        if form.sample_format:
            context.format = form.sample_format
        context.open(strict=False)
        if pictures is not None:
            pictures.write()
        resampler = av.AudioResampler(context.format, layout, rate_hz, frame_size=context.frame_size or None)
        step = 4800
        for start in range(0, samples.shape[1], step):
            part = np.ascontiguousarray(samples[:, start : start + step])
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, start, Fraction(1, rate_hz)
            for ready in resampler.resample(frame):
                container.mux(stream.encode(ready))
        for ready in resampler.resample(None):
            container.mux(stream.encode(ready))
        container.mux(stream.encode(None))
    return out.getvalue()


class _Pictures:
    """A small moving grey picture, as the video track of a test clip."""

    def __init__(
        self,
        container: av.container.OutputContainer,
        codec: str,
        duration_s: float,
        fps: int = 5,
        pixels: str = "yuv420p",
    ) -> None:
        self._container, self._fps = container, fps
        self._n_frames = max(1, round(duration_s * fps))
        self.stream = container.add_stream(codec, rate=fps)
        self.stream.width, self.stream.height, self.stream.pix_fmt = 64, 48, pixels

    def write(self) -> None:
        for number in range(self._n_frames):
            picture = np.full((48, 64, 3), (number * 7) % 256, dtype=np.uint8)
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, self._fps)
            self._container.mux(self.stream.encode(frame))
        self._container.mux(self.stream.encode(None))


def cover_without_sound() -> bytes:
    """Return an mp4 that holds a cover picture and nothing else."""
    out = io.BytesIO()
    with av.open(out, "w", format="mp4") as container:
        pictures = _Pictures(container, "mjpeg", 1.0, fps=1, pixels="yuvj420p")
        pictures.stream.disposition = Disposition.attached_pic
        pictures.write()
    return out.getvalue()


def video_without_sound(duration_s: float = 1.0) -> bytes:
    """Return an mp4 that holds pictures only."""
    out = io.BytesIO()
    with av.open(out, "w", format="mp4") as container:
        _Pictures(container, "mpeg4", duration_s).write()
    return out.getvalue()


def wav(samples: np.ndarray, rate_hz: int, *, code: int = 3) -> bytes:
    """Lay out a WAVE file by hand: 32-bit float (code 3) or 16-bit (code 1), any values.

    Layout: RIFF/WAVE with one `fmt ` and one `data` chunk (Multimedia
    Programming Interface and Data Specifications 1.0, 1991).
    """
    samples = np.atleast_2d(samples)
    kind = "<f4" if code == 3 else "<i2"
    scaled = samples if code == 3 else np.round(samples * 32767)
    data = np.ascontiguousarray(scaled.T).astype(kind).tobytes()
    width = np.dtype(kind).itemsize
    channels = samples.shape[0]
    fmt = (
        code.to_bytes(2, "little")
        + channels.to_bytes(2, "little")
        + rate_hz.to_bytes(4, "little")
        + (rate_hz * channels * width).to_bytes(4, "little")
        + (channels * width).to_bytes(2, "little")
        + (8 * width).to_bytes(2, "little")
    )
    body = b"WAVEfmt " + (16).to_bytes(4, "little") + fmt + b"data" + len(data).to_bytes(4, "little") + data
    return b"RIFF" + len(body).to_bytes(4, "little") + body


#: Speech bits of AMR-WB frame types 0..8 and the SID frame 9 (RFC 4867, table 2 and section 5.3).
_AMR_WB_BITS = (132, 177, 253, 285, 317, 365, 397, 461, 477, 40)


def amr_wb(duration_s: float = 1.0, *, mode: int = 2, seed: int = 1) -> bytes:
    """Return an AMR-WB file of random speech frames: valid in form, noise in content.

    Each 20 ms frame is one header byte (frame type, quality bit) and its
    speech bits, padded to bytes.
    """
    rng = np.random.default_rng(seed)
    size = -(-_AMR_WB_BITS[mode] // 8)
    frames = (
        bytes([mode << 3 | 4]) + rng.integers(0, 256, size, dtype=np.uint8).tobytes()
        for _ in range(round(duration_s * 50))
    )
    return b"#!AMR-WB\n" + b"".join(frames)
