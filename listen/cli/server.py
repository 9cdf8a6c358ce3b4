"""Start the page's server as a child process: this machine only, no telemetry, our own look."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from listen.errors import BadParameter
from listen.resources import shipped

HOST = "127.0.0.1"
DEFAULT_PORT = 8741
_START_TIMEOUT_S = 60.0

#: Streamlit options. Nothing leaves the machine and nothing is watched or guessed.
_OPTIONS: dict[str, str] = {
    "server.address": HOST,
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.maxUploadSize": "200",
    "server.enableCORS": "true",
    "server.enableXsrfProtection": "true",
    "browser.gatherUsageStats": "false",
    "browser.serverAddress": HOST,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "logger.level": "error",
    "theme.baseRadius": "0.5rem",
    "theme.light.primaryColor": "#0b6b63",
    "theme.light.backgroundColor": "#fbfaf7",
    "theme.light.secondaryBackgroundColor": "#efece4",
    "theme.light.textColor": "#1c2523",
    "theme.dark.primaryColor": "#5cc9bb",
    "theme.dark.backgroundColor": "#14191a",
    "theme.dark.secondaryBackgroundColor": "#20292a",
    "theme.dark.textColor": "#e8ece9",
}


def command(port: int, script: Path | None = None) -> list[str]:
    """Return the command line that serves the page on `port` of this machine."""
    script = script or shipped("app") / "bench_page_serve.py"
    options = [f"--{name}={value}" for name, value in _OPTIONS.items()]
    return [sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={port}", *options]


def choose_port(wanted: int | None) -> int:
    """Return `wanted` if it is free; without a wish, the first free one from the default on.

    Raises
    ------
    BadParameter
        When the wanted port is taken.
    """
    if wanted is not None:
        if not _is_free(wanted):
            raise BadParameter(
                f"Port {wanted} is taken by another program: leave out --port or name another."
            )
        return wanted
    for port in range(DEFAULT_PORT, DEFAULT_PORT + 50):
        if _is_free(port):
            return port
    raise BadParameter(f"All ports from {DEFAULT_PORT} on are taken: name a free one with --port.")


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        # As the server does: a port that only lingers from an earlier run counts as free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def start(port: int, environment: dict[str, str] | None = None) -> subprocess.Popen[bytes]:
    """Start the server and return its process; its own chatter is dropped, its errors are kept."""
    # By environment, so that a Streamlit that does not know the setting still starts.
    hosts = {"STREAMLIT_SERVER_ALLOWED_HOSTS": f"{HOST} localhost"}
    env = {**os.environ, **hosts, **(environment or {})}
    return subprocess.Popen(command(port), env=env, stdout=subprocess.DEVNULL)


def wait_until_up(process: subprocess.Popen[bytes], port: int, timeout_s: float = _START_TIMEOUT_S) -> bool:
    """Wait until the server answers; False when it ended or did not answer in time."""
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=2):
                return True
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return False


def stop(process: subprocess.Popen[bytes]) -> None:
    """End the server, gently first."""
    if process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(timeout=5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
