"""The only module that touches the decoder (PyAV); it runs in the child.

It reads one open file through its own reader object, lets only one named
container format and only audio codecs be used, and writes frames of
:mod:`listen.decode.framing`. It takes raw samples as the codec gives them:
conversion and mixing are arithmetic and belong to the parent.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from typing import Any

import av
from av.error import FFmpegError

from listen.decode.framing import BLOCK, FORMAT_NUMBER, FORMATS, MAX_CHANNELS, pack, pack_json

#: Codecs a phone, camera or recorder writes sound with. Video codecs are left
#: out, so that the probe of a video never runs a video decoder.
CODECS = (
    "aac,aac_fixed,aac_latm,alac,flac,opus,libopus,vorbis,mp3float,mp3,mp2float,mp2,mp1float,mp1,"
    "amrnb,amrwb,libopencore_amrnb,libopencore_amrwb,ac3,eac3,adpcm_ms,adpcm_ima_wav,adpcm_ima_qt,gsm,gsm_ms,"
    "pcm_alaw,pcm_mulaw,pcm_f32be,pcm_f32le,pcm_f64be,pcm_f64le,pcm_s8,pcm_u8,pcm_s16be,pcm_s16le,"
    "pcm_s24be,pcm_s24le,pcm_s32be,pcm_s32le,pcm_s64be,pcm_s64le,pcm_s16le_planar,pcm_s24le_planar,"
    "pcm_s32le_planar,pcm_s16be_planar,pcm_s8_planar"
)
#: Options of single demuxers: no external data references in a movie file.
_OPTIONS = {"mov": {"enable_drefs": "0", "use_absolute_path": "0"}}
#: The binding imports these at its first clip; by then no file may be opened any more.
_LATE_MODULES = (
    "av.audio.stream",
    "av.audio.codeccontext",
    "av.video.stream",
    "av.video.codeccontext",
    "av.subtitles.stream",
    "av.subtitles.codeccontext",
)
_ATTACHED_PIC = 0x0400  # AV_DISPOSITION_ATTACHED_PIC of the decoder library's public header
_PIECE_BYTES = 256 << 10
_MAX_BAD_PACKETS = 2000


for _module in _LATE_MODULES:
    with suppress(ImportError):  # another release of the binding may not have it
        import_module(_module)


class ClipFailed(Exception):
    """There is nothing (more) to hear; `code` says why."""

    def __init__(self, code: str, **details: float) -> None:
        super().__init__(code)
        self.message = {"code": code, **details}


class _Reader:
    """Read-only, seekable view of an open file. It has no name that a demuxer could resolve."""

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._size = os.fstat(fd).st_size

    def read(self, size: int) -> bytes:
        return os.read(self._fd, size)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        if whence == 0x10000:  # AVSEEK_SIZE, should the binding pass it on
            return self._size
        return os.lseek(self._fd, offset, whence)

    def tell(self) -> int:
        return os.lseek(self._fd, 0, os.SEEK_CUR)


def _refuse(url: str, flags: int, options: dict) -> Any:
    raise PermissionError("a clip may not open a second file")


class _Stream:
    """Collect raw samples of one shape and write them in pieces."""

    def __init__(self, write: Callable[[bytes], None], max_duration_s: float) -> None:
        self._write = write
        self._max_duration_s = max_duration_s
        self._shape: tuple[int, int, int] | None = None
        self._planes: list[bytearray] = []
        self._frames = 0
        self.rate_hz = 0
        self.total = 0

    @property
    def seconds(self) -> float:
        return self.total / self.rate_hz if self.rate_hz else 0.0

    def add(self, frame: Any, codec: str) -> None:
        """Take one decoded frame.

        Raises
        ------
        ClipFailed
            When the clip is over its length limit, has too many channels or
            changes its sample rate.
        """
        count = frame.samples
        if count <= 0:
            return
        channels = frame.layout.nb_channels
        name = frame.format.name  # planar formats end in p: s16p, fltp
        kind = name.removesuffix("p")
        if not 1 <= channels <= MAX_CHANNELS or kind not in FORMAT_NUMBER:
            raise ClipFailed("channels", channels=channels)
        if not self.rate_hz:
            self.rate_hz = frame.sample_rate
            header = {"rate_hz": self.rate_hz, "channels": channels, "codec": codec}
            self._write(pack_json(b"H", header))
        elif frame.sample_rate != self.rate_hz:
            raise ClipFailed("rate_changes", at_s=self.seconds)
        number = FORMAT_NUMBER[kind]
        shape = (number, int(kind == name), channels)
        if shape != self._shape:
            self.flush()
            self._shape = shape
            self._planes = [bytearray() for _ in frame.planes]
        width = FORMATS[number][1] * (channels if shape[1] else 1) * count
        for mine, plane in zip(self._planes, frame.planes, strict=True):
            mine += memoryview(plane)[:width]
        self._frames += count
        self.total += count
        if self.total > self._max_duration_s * self.rate_hz:
            raise ClipFailed("too_long")
        if self._frames * FORMATS[number][1] * channels >= _PIECE_BYTES:
            self.flush()

    def flush(self) -> None:
        """Write what is collected."""
        if self._frames and self._shape is not None:
            head = BLOCK.pack(*self._shape, self._frames)
            self._write(pack(b"B", head + b"".join(self._planes)))
        self._frames = 0
        for plane in self._planes:
            plane.clear()


def _open(reader: _Reader, demuxer: str) -> Any:
    options = {"protocol_whitelist": "", "codec_whitelist": CODECS, "max_streams": "64"}
    options |= _OPTIONS.get(demuxer, {})
    try:
        return av.open(
            reader,
            mode="r",
            format=demuxer,
            container_options=options,
            metadata_errors="ignore",
            buffer_size=64 << 10,
            io_open=_refuse,
        )
    except (FFmpegError, ValueError, OSError) as error:
        if isinstance(error, MemoryError):
            raise
        raise ClipFailed("not_opened") from error


def _pick(container: Any) -> Any:
    streams = container.streams
    if not streams.audio:
        # Early releases of the binding do not tell a cover picture from a video.
        pictures = any(not int(getattr(s, "disposition", 0)) & _ATTACHED_PIC for s in streams.video)
        raise ClipFailed("video_only" if pictures else "no_sound")
    allowed = CODECS.split(",")
    known = [s for s in streams.audio if s.codec_context is not None and s.codec_context.name in allowed]
    if not known:
        raise ClipFailed("codec")
    # A phone may add a second track in a codec of its own; the plain one is heard.
    best = streams.best("audio")
    stream = next((s for s in known if best is not None and s.index == best.index), known[0])
    stream.codec_context.thread_count = 1
    return stream


def decode(fd: int, demuxer: str, max_duration_s: float, write: Callable[[bytes], None]) -> None:
    """Decode the sound of an open file and write it as frames.

    Parameters
    ----------
    fd : int
        Open regular file, read from its start.
    demuxer : str
        The one container format that is tried.
    max_duration_s : float
    write : callable
        Takes the bytes of one frame.

    Raises
    ------
    ClipFailed
        With the code of why.
    """
    os.lseek(fd, 0, os.SEEK_SET)
    with _open(_Reader(fd), demuxer) as container:
        stream = _pick(container)
        codec = stream.codec_context.name
        declared_s = None
        if stream.duration and stream.time_base:
            declared_s = float(stream.duration * stream.time_base)
        elif container.duration and len(container.streams) == 1:
            declared_s = container.duration / 1_000_000
        out = _Stream(write, max_duration_s)
        ended = _run(container, stream, codec, out)
        out.flush()
        if not out.rate_hz:
            raise ClipFailed("nothing_decoded" if ended["bad"] else "no_samples")
        ended["declared_s"] = declared_s
        write(pack_json(b"E", ended))


def _run(container: Any, stream: Any, codec: str, out: _Stream) -> dict:
    """Decode packet by packet; a bad packet costs itself, not the clip."""
    ended: dict[str, Any] = {"bad": 0, "first_bad_s": None, "last_bad_s": None}
    ended |= {"good_after_bad": False, "rate_changes": False}

    def bad() -> None:
        ended["bad"] += 1
        if ended["first_bad_s"] is None:
            ended["first_bad_s"] = out.seconds
        ended["last_bad_s"] = out.seconds

    packets = container.demux(stream)
    while ended["bad"] < _MAX_BAD_PACKETS:
        try:
            packet = next(packets, None)
        except (FFmpegError, ValueError, OSError) as error:
            if isinstance(error, MemoryError):
                raise
            bad()
            break
        if packet is None:
            break
        earlier_bad = ended["bad"] > 0
        try:
            if packet.is_corrupt:
                bad()
            frames = packet.decode()
        except (FFmpegError, ValueError, OSError) as error:
            if isinstance(error, MemoryError):
                raise
            if not isinstance(error, EOFError):
                bad()
                ended["good_after_bad"] = False
            continue
        for frame in frames:
            try:
                out.add(frame, codec)
            except ClipFailed as failed:
                if failed.message["code"] != "rate_changes":
                    raise
                ended["rate_changes"] = True
                return ended
            if earlier_bad:
                ended["good_after_bad"] = True
    return ended
