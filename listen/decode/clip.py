"""One clip, opened: its facts, its blocks, and what went wrong on the way."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from listen.decode.channel import Child, ChildGone, Frames, FreshChild, code_of_status
from listen.decode.framing import MAX_CHANNELS, FramingError, unpack_json
from listen.decode.launch import start
from listen.decode.limits import MIN_DURATION_S, DecodeLimits
from listen.decode.mix import Mixer, channels_of
from listen.decode.notes import notes_of
from listen.decode.sniff import Found, NotAClip, sniff
from listen.decode.source import Source
from listen.decode.words import sentence
from listen.errors import BadParameter, ListenError, UnreadableClip
from listen.types import ClipInfo, Limit

if TYPE_CHECKING:
    from listen.decode.worker import DecodeWorker

_MIN_RATE_HZ, _MAX_RATE_HZ = 2_000, 768_000
_BLOCK_S = 1.0


@dataclass(frozen=True, slots=True)
class Recording:
    """A short clip in memory.

    Attributes
    ----------
    samples : ndarray
        float32, shape (n,), mono, read-only.
    info : ClipInfo
    notes : tuple of Limit
    """

    samples: np.ndarray
    info: ClipInfo
    notes: tuple[Limit, ...]

    @property
    def rate_hz(self) -> int:
        return self.info.sample_rate_hz


class OpenClip:
    """A clip whose sound is being decoded; use it in a `with` block.

    Parameters
    ----------
    source, name, limits, worker
        See :func:`open_clip`.

    Attributes
    ----------
    rate_hz, channels : int
        As recorded.
    container, codec : str
        Short names.
    name : str
        Shown name: no folder, no control characters.
    sha256 : str
        Hash of the original bytes.
    duration_s : float
        Decoded so far; the clip's duration after the last block.
    notes : tuple of Limit
        What limits this recording; complete after the last block.
    """

    def __init__(
        self,
        source: str | os.PathLike[str] | bytes,
        *,
        name: str | None = None,
        limits: DecodeLimits | None = None,
        worker: DecodeWorker | None = None,
    ) -> None:
        self._limits = limits or DecodeLimits()
        self._child: Child | None = None
        self._ended: dict[str, Any] | None = None
        self._read_started = False
        self._source = Source(source, name=name, limits=self._limits)
        self.name = self._source.name
        self.notes: tuple[Limit, ...] = ()
        try:
            self._found = self._sniff()
            # The child starts up while the hash is computed, unless both would
            # have to share one read position.
            shared = not self._source.reads_apart
            self.sha256 = self._source.sha256() if shared else ""
            self._child = self._start(worker)
            self._frames = iter(Frames(self._child, self._limits))
            self.sha256 = self.sha256 or self._source.sha256()
            self._read_header()
        except BaseException:
            self.close()
            raise
        self._mixer = Mixer(self.rate_hz)

    def __enter__(self) -> OpenClip:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    @property
    def duration_s(self) -> float:
        return self._mixer.total / self.rate_hz

    @property
    def info(self) -> ClipInfo:
        """The facts for the report; the duration is right after the last block."""
        return ClipInfo(
            name=self.name,
            sha256=self.sha256,
            duration_s=self.duration_s,
            sample_rate_hz=self.rate_hz,
            channels=self.channels,
            container=self.container,
            codec=self.codec,
        )

    def close(self) -> None:
        """End the child and close the file; more than once does no harm."""
        if self._child is not None:
            self._child.end()
            self._child = None
        self._source.close()

    def blocks(self) -> Iterator[np.ndarray]:
        """Yield the sound in blocks of one second, the last one shorter.

        Yields
        ------
        ndarray
            float32, shape (n,), mono, finite, read-only.

        Raises
        ------
        UnreadableClip
            When decoding fails or goes over a limit.
        UnusableClip
            When the clip is under 0.5 s or holds no number at all.
        BadParameter
            When the blocks are asked for a second time.
        """
        if self._read_started:
            raise BadParameter("The blocks of a clip can be read once; open the clip again.")
        self._read_started = True
        wanted = max(1, round(_BLOCK_S * self.rate_hz))
        waiting: list[np.ndarray] = []
        n_waiting = 0
        for piece in self._pieces():
            waiting.append(piece)
            n_waiting += len(piece)
            while n_waiting >= wanted:
                joined = np.concatenate(waiting) if len(waiting) > 1 else waiting[0]
                yield _read_only(joined[:wanted])
                waiting = [joined[wanted:]]
                n_waiting -= wanted
        self._finish()
        if n_waiting:
            yield _read_only(np.concatenate(waiting))

    def _sniff(self) -> Found:
        try:
            return sniff(self._source.read_at, self._source.size)
        except NotAClip as error:
            raise sentence(error.kind, self.name) from error

    def _start(self, worker: DecodeWorker | None) -> Child:
        job = {
            "demuxer": self._found.demuxer,
            "max_duration_s": self._limits.max_duration_s,
            "memory_bytes": self._limits.memory_bytes,
            "cpu_s": self._limits.cpu_s,
        }
        if worker is not None:
            return worker.start_clip(job, self._source.file)
        from subprocess import PIPE

        return FreshChild(start("clip", job, self._source.file, PIPE))

    def _next(self) -> tuple[bytes, bytes] | None:
        """Return the next frame, None at the end; failures become sentences."""
        try:
            frame = next(self._frames, None)
            if frame is None and self._ended is None:
                raise ChildGone("ended")
            if frame is not None and frame[0] == b"X":
                code = unpack_json(frame[1]).get("code")
                raise self._failure(str(code))
        except ChildGone as gone:
            raise sentence(self._why(gone.code), self.name) from gone
        except FramingError as error:
            raise sentence("crashed", self.name) from error
        return frame

    def _why(self, code: str) -> str:
        """Ask how the child ended, when it ended without a word."""
        if self._child is None:
            return "crashed"
        child, self._child = self._child, None
        status = child.end()
        return code_of_status(status) if code == "ended" else code

    def _failure(self, code: str) -> ListenError:
        """Return the error for a code, with what only this side knows."""
        if code == "not_opened" and self._found.demuxer == "mov" and self._found.cut_share is not None:
            code = "no_index"
        if code == "too_long":
            return sentence(code, self.name, limit_h=self._limits.max_duration_s / 3600)
        return sentence(code, self.name)

    def _read_header(self) -> None:
        frame = self._next()
        if frame is None or frame[0] != b"H":
            raise sentence("crashed", self.name)
        try:
            header = unpack_json(frame[1])
        except FramingError as error:
            raise sentence("crashed", self.name) from error
        rate_hz, channels, codec = header.get("rate_hz"), header.get("channels"), header.get("codec")
        if not isinstance(rate_hz, int) or not isinstance(channels, int) or not isinstance(codec, str):
            raise sentence("crashed", self.name)
        if not _MIN_RATE_HZ <= rate_hz <= _MAX_RATE_HZ:
            raise sentence("rate", self.name)
        if not 1 <= channels <= MAX_CHANNELS:
            raise sentence("channels", self.name)
        self.rate_hz, self.channels = rate_hz, channels
        self.container = self._found.container
        self.codec = "".join(c for c in codec[:32] if c.isascii() and (c.isalnum() or c == "_"))

    def _pieces(self) -> Iterator[np.ndarray]:
        longest = self._limits.max_duration_s * self.rate_hz + self.rate_hz
        while (frame := self._next()) is not None:
            tag, payload = frame
            if self._ended is not None or tag == b"H":
                raise sentence("crashed", self.name)
            try:
                if tag == b"E":
                    self._ended = unpack_json(payload)
                    continue
                yield self._mixer.mix(channels_of(payload))
            except FramingError as error:
                raise sentence("crashed", self.name) from error
            if self._mixer.total > longest:
                raise self._failure("too_long")

    def _finish(self) -> None:
        """Judge the whole: long enough, numbers, complete."""
        self.close()
        total = self._mixer.total
        if total == 0:
            raise sentence("no_samples", self.name)
        if self._mixer.not_numbers >= total:
            raise sentence("not_numbers", self.name)
        if self.duration_s < MIN_DURATION_S - 0.5 / self.rate_hz:
            raise sentence("too_short", self.name)
        self.notes = notes_of(self._mixer, self._found, self._ended or {}, self.duration_s)


def _read_only(block: np.ndarray) -> np.ndarray:
    block = np.ascontiguousarray(block, dtype=np.float32)
    block.flags.writeable = False
    return block


def open_clip(
    source: str | os.PathLike[str] | bytes,
    *,
    name: str | None = None,
    limits: DecodeLimits | None = None,
    worker: DecodeWorker | None = None,
) -> OpenClip:
    """Open a recording and start to decode it in a guarded child.

    Parameters
    ----------
    source : str, path or bytes
        A regular file, or the bytes of one. The name decides nothing.
    name : str, optional
        Name to show, for bytes or an uploaded file.
    limits : DecodeLimits, optional
    worker : DecodeWorker, optional
        A warm worker; without one a fresh child is started.

    Returns
    -------
    OpenClip
        A context manager.

    Raises
    ------
    UnreadableClip
        When it is no recording, damaged, or over a limit.
    UnusableClip
        When it holds no sound.
    """
    return OpenClip(source, name=name, limits=limits, worker=worker)


def read_clip(
    source: str | os.PathLike[str] | bytes,
    *,
    name: str | None = None,
    limits: DecodeLimits | None = None,
    worker: DecodeWorker | None = None,
) -> Recording:
    """Decode a short recording into memory; parameters and errors as :func:`open_clip`.

    Returns
    -------
    Recording
    """
    with open_clip(source, name=name, limits=limits, worker=worker) as clip:
        try:
            samples = np.concatenate(list(clip.blocks()))
        except MemoryError as error:
            raise UnreadableClip(
                f"{clip.name}: the recording is too long to be held in memory; cut out the part that matters."
            ) from error
        samples.flags.writeable = False
        if not math.isfinite(float(samples[0])):
            raise sentence("not_numbers", clip.name)
        return Recording(samples, clip.info, clip.notes)
