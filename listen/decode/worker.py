"""A warm decoding worker for the page and for batches.

The decoder is loaded once; every clip is decoded in a fork with its own
limits (see :mod:`listen.decode.forks`). If the worker itself dies, the next
clip gets a fresh one. Where forks or passing open files are not to be had
(anything but Linux) each clip gets a fresh child, with the same results.
"""

from __future__ import annotations

import itertools
import os
import socket
import subprocess
import sys
import threading
import weakref
from typing import IO, Any

from listen.decode.channel import Child, FreshChild, at_end
from listen.decode.forks import receive_message, send_message
from listen.decode.launch import start
from listen.decode.limits import DecodeLimits
from listen.decode.words import sentence

_ANSWER_S = 20.0


class _Warm:
    """One warm process and the socket to it."""

    def __init__(self, memory_bytes: int) -> None:
        ours, theirs = socket.socketpair()
        try:
            self.process = start("serve", {"memory_bytes": memory_bytes}, theirs.fileno(), subprocess.DEVNULL)
        except BaseException:
            ours.close()
            raise
        finally:
            theirs.close()
        ours.settimeout(_ANSWER_S)
        # Also when the owner forgets to close, or the interpreter ends.
        self._shut = weakref.finalize(self, _shut, ours, self.process, os.getpid())
        self._socket = ours
        self._lock = threading.Lock()
        self.served = 0
        self.open = 0
        self.pid = os.getpid()

    def ask(self, message: dict, fds: tuple[int, ...] = ()) -> dict:
        """Send a request and return the answer.

        Raises
        ------
        OSError, EOFError
            When the process is gone or does not answer.
        """
        with self._lock:
            send_message(self._socket, message, fds)
            return receive_message(self._socket)[0]

    def close(self) -> None:
        self._shut()


def _shut(ours: socket.socket, process: subprocess.Popen[bytes], owner: int) -> None:
    """Close the socket, which ends the process; help if it does not."""
    ours.close()
    if owner != os.getpid():
        return  # a fork of the owner must not end the owner's process
    try:
        process.wait(timeout=1.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class _ForkedChild:
    """The parent's handle of one fork."""

    def __init__(self, worker: DecodeWorker, warm: _Warm, number: int, pipe: int) -> None:
        self._worker, self._warm, self._number, self._pipe = worker, warm, number, pipe

    def fileno(self) -> int:
        return self._pipe

    def end(self) -> int:
        closed = at_end(self._pipe)
        os.close(self._pipe)
        return self._worker._end(self._warm, self._number, closed)


class DecodeWorker:
    """Decode many clips without starting Python and the decoder for each.

    Safe to share between threads; not between processes.

    Parameters
    ----------
    memory_bytes : int, optional
        Upper bound of every clip's memory limit.
    recycle_after : int
        The warm process is replaced after so many clips.

    Examples
    --------
    >>> with DecodeWorker() as worker:  # doctest: +SKIP
    ...     clip = read_clip("clip.m4a", worker=worker)
    """

    def __init__(self, *, memory_bytes: int | None = None, recycle_after: int = 500) -> None:
        self._memory_bytes = memory_bytes or DecodeLimits().memory_bytes
        self._recycle_after = recycle_after
        self._warm: _Warm | None = None
        self._retired: list[_Warm] = []
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()
        self._forks = sys.platform.startswith("linux") and hasattr(socket, "send_fds")

    def __enter__(self) -> DecodeWorker:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """End the warm process and every clip in it."""
        with self._lock:
            for warm in (self._warm, *self._retired):
                if warm is not None:
                    warm.close()
            self._warm, self._retired = None, []

    def start_clip(self, job: dict[str, Any], file: IO[bytes]) -> Child:
        """Start to decode an open file; used by :func:`listen.decode.open_clip`.

        Raises
        ------
        ListenError
            When no process can be started.
        """
        if not self._forks:
            return FreshChild(start("clip", job, file, subprocess.PIPE))
        for _ in range(2):
            warm = self._take()
            child = self._try(warm, job, file)
            if child is not None:
                return child
            self._drop(warm)
        raise sentence("no_answer", "clip")

    def _try(self, warm: _Warm, job: dict[str, Any], file: IO[bytes]) -> Child | None:
        number = next(self._numbers)
        ours, theirs = os.pipe()
        try:
            answer = warm.ask({"op": "clip", "id": number, "job": job}, (file.fileno(), theirs))
        except (OSError, EOFError):
            answer = {}
        finally:
            os.close(theirs)
        if answer.get("ok") is True:
            return _ForkedChild(self, warm, number, ours)
        os.close(ours)
        self._give(warm)
        return None

    def _take(self) -> _Warm:
        """Return the warm process, started or replaced as needed, and count a clip for it."""
        with self._lock:
            warm = self._warm
            if warm is not None and warm.pid != os.getpid():
                self._warm = warm = None  # this is a fork of the owner: its worker is not ours
            if warm is not None and (warm.served >= self._recycle_after or warm.process.poll() is not None):
                self._retired.append(warm)
                self._warm = warm = None
                self._sweep()
            if warm is None:
                self._warm = warm = _Warm(self._memory_bytes)
            warm.served += 1
            warm.open += 1
            return warm

    def _give(self, warm: _Warm) -> None:
        with self._lock:
            warm.open -= 1
            self._sweep()

    def _sweep(self) -> None:
        """Close retired processes whose last clip has ended."""
        for warm in [w for w in self._retired if w.open <= 0]:
            warm.close()
            self._retired.remove(warm)

    def _drop(self, warm: _Warm) -> None:
        """Give up a process that did not answer."""
        with self._lock:
            if self._warm is warm:
                self._warm = None
            warm.close()

    def _end(self, warm: _Warm, number: int, closed: bool) -> int:
        try:
            status = warm.ask({"op": "end", "id": number, "wait": closed}).get("status", 1)
        except (OSError, EOFError):
            status = 1  # the worker itself is gone, and the clip with it
        self._give(warm)
        return int(status)
