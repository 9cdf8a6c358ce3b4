"""The decoding child: one clip and out, or a warm parent of such children.

Started by :mod:`listen.decode.launch` (one clip: the file is standard input,
frames go to standard output) or by :mod:`listen.decode.worker` (standard
input is a socket; each request brings an open file and a pipe, and is served
by a fork that dies with its clip). Either way the limits are set before the
decoder is loaded.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from typing import Any

from listen.decode import guard
from listen.decode.framing import pack_json


def write_all(data: bytes) -> None:
    """Write all bytes to standard output, unbuffered."""
    view = memoryview(data)
    while view:
        view = view[os.write(1, view) :]


def _fail(message: dict) -> None:
    try:
        write_all(pack_json(b"X", message))
    except OSError:
        # The parent has closed the clip: nobody is left to be told.
        return


def run_job(job: dict[str, Any]) -> None:
    """Decode standard input as `job` says; every failure leaves as a code."""
    from listen.decode import avside

    guard.before_clip(int(job["memory_bytes"]), int(job["cpu_s"]))
    try:
        avside.decode(0, str(job["demuxer"]), float(job["max_duration_s"]), write_all)
    except avside.ClipFailed as failed:
        _fail(failed.message)
    except MemoryError:
        _fail({"code": "memory"})
    except BrokenPipeError:
        return
    except Exception:
        # A stranger's file found a way that nobody foresaw. The child ends here
        # in any case; the parent must get a plain word, not silence.
        _fail({"code": "crashed"})


def _load_decoder() -> bool:
    """Load the decoder quietly; False when it is not installed or does not fit in memory."""
    try:
        import listen.decode.avside
    except (ImportError, MemoryError, OSError):
        return False
    import av

    av.logging.set_level(av.logging.PANIC)
    return listen.decode.avside is not None


def one_clip(job_json: str) -> None:
    """Decode the clip on standard input."""
    job = json.loads(job_json)
    guard.before_decoder(int(job["memory_bytes"]))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform == "win32":
        import msvcrt

        for fd in (0, 1):
            msvcrt.setmode(fd, os.O_BINARY)
    if _load_decoder():
        run_job(job)
    else:
        _fail({"code": "decoder_missing"})


def serve(job_json: str) -> None:
    """Serve clips from the socket on standard input until it closes."""
    guard.before_decoder(int(json.loads(job_json)["memory_bytes"]))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if not _load_decoder():
        return
    from listen.decode.forks import serve_forks

    serve_forks(0, run_job)


def main(verb: str, job_json: str) -> None:
    """Run as the child. `verb` is `clip` or `serve`."""
    {"clip": one_clip, "serve": serve}[verb](job_json)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
