"""A hearing process: waits for clips on standard input, answers on standard output, ends with its server."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import traceback
from pathlib import Path

from listen.crew.wire import Broken, receive, send
from listen.errors import ListenError

#: Where memory runs out, the system ends a hearing process before the server that would start another.
_GO_FIRST = "600"


def main() -> None:
    """Serve jobs until the server closes the pipe."""
    # The server ends it by closing the pipe; Ctrl-C is for the server alone.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(_GO_FIRST, encoding="ascii")
    # Whatever else writes to standard output must not get between the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    # Loaded here, so that a process that cannot load it says so in its first answer.
    from listen.crew.jobs import JOBS

    while True:
        try:
            head, blobs = receive(sys.stdin.buffer)
        except Broken:
            return
        try:
            answer, out = JOBS[head["job"]](head, blobs[0] if blobs else b"")
        except ListenError as error:
            answer, out = {"error": type(error).__name__, "sentence": str(error)}, ()
        except Exception:
            # Our own mistake on one clip ends that clip, not the process; the server logs the trace.
            answer, out = {"error": "", "trace": traceback.format_exc()}, ()
        try:
            send(answers, answer, *out)
        except OSError:
            return


if __name__ == "__main__":
    main()
