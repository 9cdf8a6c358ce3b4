"""The server's end of one hearing process: start it, ask it one thing at a time, end it when it hangs."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from listen.crew.wire import Broken, receive, send
from listen.errors import ListenError

_BOOT = "import sys; sys.path.extend(sys.argv[1:]); from listen.crew.child import main; main()"


class Died(Exception):
    """The process ended, hung or wrote nonsense in the midst of a clip; `how` says which."""

    def __init__(self, how: str) -> None:
        super().__init__(how)
        self.how = how


def _command() -> list[str]:
    package = str(Path(__file__).resolve().parents[2])
    # Isolated from the current folder, but with the very folders this process loads from.
    paths = dict.fromkeys((package, *(path for path in sys.path if path)))
    return [sys.executable, "-I", "-S", "-X", "utf8", "-c", _BOOT, *paths]


class Member:
    """One hearing process.

    Raises
    ------
    ListenError
        When it cannot be started.
    """

    def __init__(self) -> None:
        # One thread each: there are as many processes as processors.
        threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        try:
            self._process = subprocess.Popen(
                _command(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, **threads}
            )
        except OSError as error:
            raise ListenError(
                f"No hearing process could be started ({error.strerror}): close other programs and try again."
            ) from error
        self.served = 0

    @property
    def pid(self) -> int:
        return self._process.pid

    def alive(self) -> bool:
        return self._process.poll() is None

    def ask(
        self, head: Mapping[str, Any], data: bytes, within_s: float
    ) -> tuple[dict[str, Any], list[bytes]]:
        """Hand over a job and wait for its answer.

        Raises
        ------
        Died
            It gave none; the process is gone afterwards.
        """
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None and stdout is not None  # started with pipes
        hung = threading.Event()

        def kill() -> None:
            hung.set()
            self._process.kill()

        watch = threading.Timer(within_s, kill)
        watch.daemon = True
        watch.start()
        try:
            self.served += 1
            send(stdin, head, data)
            return receive(stdout)
        except (OSError, ValueError, Broken) as error:
            self.end(at_once=True)
            raise Died("hung" if hung.is_set() else "ended") from error
        finally:
            watch.cancel()

    def end(self, *, at_once: bool = False) -> None:
        """End the process: by closing its pipe, by force where that is not enough."""
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError, ValueError):
                if pipe is not None:
                    pipe.close()
        if at_once:
            self._process.kill()
        try:
            self._process.wait(timeout=2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
