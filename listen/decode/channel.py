"""The parent's end of one decoding child: read frames, wait only so long, end it, say how it ended."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Any, Protocol

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]

from listen.decode.framing import FrameParser, FramingError
from listen.decode.limits import DecodeLimits

_READ = 1 << 18
_PIPE_BYTES = 1 << 19


class ChildGone(Exception):
    """The child ended, hung or wrote nonsense; `code` says which."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


class Child(Protocol):
    """A decoding child, fresh or forked from a warm worker."""

    def fileno(self) -> int:
        """Return the descriptor its frames are read from."""

    def end(self) -> int:
        """Kill it if it still runs; return its exit status, negative for a signal."""


class FreshChild:
    """A child that was started for one clip."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process
        assert process.stdout is not None  # started with a pipe
        self._pipe = process.stdout

    def fileno(self) -> int:
        return self._pipe.fileno()

    def end(self) -> int:
        if self._process.poll() is None:
            try:
                # A child that has closed its pipe is about to exit by itself.
                self._process.wait(timeout=2.0 if at_end(self._pipe.fileno()) else 0.0)
            except subprocess.TimeoutExpired:
                self._process.kill()
        self._pipe.close()
        return self._process.wait()


def _widen(fd: int) -> None:
    """Let a pipe hold a second or two of sound, so that the two sides seldom wait for each other."""
    if fcntl is None or not hasattr(fcntl, "F_SETPIPE_SZ"):
        return
    with suppress(OSError):  # the system's limit for pipes is used up: slower, not wrong
        fcntl.fcntl(fd, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)


def at_end(fd: int) -> bool:
    """Tell whether the other side of a pipe is closed, without waiting."""
    if not hasattr(select, "poll"):
        return False
    poll = select.poll()
    poll.register(fd, 0)
    return any(event & select.POLLHUP for _, event in poll.poll(0))


def code_of_status(status: int) -> str:
    """Return the code for how a child ended without a word."""
    if status == -getattr(signal, "SIGXCPU", -1):
        return "time"
    return "killed" if status == -getattr(signal, "SIGKILL", -1) else "crashed"


class Frames:
    """Iterate over the frames of a child within the limits.

    Parameters
    ----------
    child : Child
    limits : DecodeLimits

    Raises
    ------
    ChildGone
        With code `time` when it hangs, `crashed` when it writes nonsense,
        `ended` when it ends in the middle of a frame.
    """

    def __init__(self, child: Child, limits: DecodeLimits) -> None:
        self._child = child
        self._limits = limits
        self._parser = FrameParser()
        self._waited_s = 0.0
        _widen(child.fileno())

    def __iter__(self) -> Iterator[tuple[bytes, bytes]]:
        while True:
            data = self._read()
            if not data:
                if not self._parser.complete:
                    raise ChildGone("ended")
                return
            try:
                yield from self._parser.feed(data)
            except FramingError as error:
                raise ChildGone("crashed") from error

    def _read(self) -> bytes:
        allowed_s = min(self._limits.stall_s, self._limits.wait_s - self._waited_s)
        started = time.monotonic()
        fd = self._child.fileno()
        if hasattr(select, "poll"):
            poll = select.poll()
            poll.register(fd, select.POLLIN)
            ready = poll.poll(max(0.0, allowed_s) * 1000.0)
            self._waited_s += time.monotonic() - started
            if not ready:
                raise ChildGone("time")
            return os.read(fd, _READ)
        return self._read_with_watchdog(fd, allowed_s)

    def _read_with_watchdog(self, fd: int, allowed_s: float) -> bytes:
        """Read where a pipe cannot be polled (Windows): a timer ends a child that hangs."""
        fired: list[Any] = []

        def kill() -> None:
            fired.append(True)
            self._child.end()

        timer = threading.Timer(max(0.0, allowed_s), kill)
        timer.daemon = True
        timer.start()
        started = time.monotonic()
        try:
            data = os.read(fd, _READ)
        except OSError as error:
            raise ChildGone("time" if fired else "crashed") from error
        finally:
            timer.cancel()
            self._waited_s += time.monotonic() - started
        if fired:
            raise ChildGone("time")
        return data
