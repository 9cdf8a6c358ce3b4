"""The warm parent of decoding children: decoder loaded, forks one child a clip.

Each request over the socket is answered before the next is read. A clip is
decoded in a fork that sets its own limits and dies with the clip, so that no
state, leak or damage passes from one stranger's file to the next.

Wire: 4-byte length, then JSON. `{"op": "clip", "id", "job"}` brings two open
files (clip, pipe) and is answered `{"ok": bool}`; `{"op": "end", "id", "wait"}` kills
what still runs (`wait`: the pipe is closed, so it is about to end by itself)
and is answered `{"status": int}`.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from struct import Struct
from typing import Any

LENGTH = Struct("<I")
_MAX_MESSAGE = 4096
_PATIENCE_S = 1.0


def send_message(sock: socket.socket, message: dict, fds: tuple[int, ...] = ()) -> None:
    """Send one message, with open files if any.

    Raises
    ------
    OSError
        When the other side is gone.
    """
    body = json.dumps(message).encode()
    data = LENGTH.pack(len(body)) + body
    sent = socket.send_fds(sock, [data], list(fds)) if fds else sock.send(data)
    if sent < len(data):
        sock.sendall(data[sent:])


def receive_message(sock: socket.socket, max_fds: int = 0) -> tuple[dict, list[int]]:
    """Receive one message.

    Raises
    ------
    EOFError
        When the other side has closed, or sends nonsense.
    """
    data = b""
    fds: list[int] = []
    wanted = LENGTH.size
    while len(data) < wanted:
        if max_fds:
            part, new, _, _ = socket.recv_fds(sock, wanted - len(data), max_fds - len(fds))
            fds += new
        else:
            part = sock.recv(wanted - len(data))
        if not part:
            raise EOFError("the other side has closed")
        data += part
        if len(data) == LENGTH.size:
            wanted += LENGTH.unpack(data)[0]
            if wanted > _MAX_MESSAGE:
                raise EOFError("a message is too long")
    return json.loads(data[LENGTH.size :]), fds


def _become(fds: list[int], sock: socket.socket, job: dict, run_job: Callable[[dict], None]) -> None:
    """Turn the fork into a child for one clip; never returns."""
    status = 1
    try:
        os.dup2(fds[0], 0)
        os.dup2(fds[1], 1)
        os.closerange(3, 64)
        run_job(job)
        status = 0
    finally:
        os._exit(status)


def _end(pid: int, *, patience_s: float = 0.0) -> int:
    """Kill a child if it still runs after a while, collect it, return its exit status."""
    deadline = time.monotonic() + patience_s
    while (ended := os.waitpid(pid, os.WNOHANG))[0] == 0 and time.monotonic() < deadline:
        time.sleep(0.001)
    ended_pid, status = ended
    if ended_pid == 0:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        _, status = os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status)


def serve_forks(socket_fd: int, run_job: Callable[[dict[str, Any]], None]) -> None:
    """Serve requests until the socket closes.

    Parameters
    ----------
    socket_fd : int
        Connected stream socket.
    run_job : callable
        Decodes standard input to standard output within the limits of a job.
    """
    children: dict[int, int] = {}
    sock = socket.socket(fileno=os.dup(socket_fd))
    null = os.open(os.devnull, os.O_RDWR)
    os.dup2(null, 0)
    os.close(null)
    try:
        while True:
            message, fds = receive_message(sock, max_fds=2)
            number = int(message["id"])
            if message["op"] == "clip" and len(fds) == 2:
                try:
                    pid = os.fork()
                except OSError:
                    pid = -1
                if pid == 0:
                    _become(fds, sock, message["job"], run_job)
                if pid > 0:
                    children[number] = pid
                send_message(sock, {"ok": pid > 0})
            else:
                pid = children.pop(number, -1)
                send_message(
                    sock,
                    {
                        "status": _end(pid, patience_s=_PATIENCE_S * bool(message.get("wait")))
                        if pid > 0
                        else 0
                    },
                )
            for fd in fds:
                os.close(fd)
    except (EOFError, OSError):
        # The parent is gone: nothing may outlive it.
        return
    finally:
        for pid in children.values():
            _end(pid)
