"""Start the page's server as a child process: no telemetry, our own look; this machine only unless told otherwise."""

from __future__ import annotations

import os
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from listen.errors import BadParameter
from listen.resources import shipped

if TYPE_CHECKING:
    from listen.lan.authority import Served

HOST = "127.0.0.1"
DEFAULT_PORT = 8741
#: What the served script reads: the hosts it answers to, and the private folder when it is on the network.
HOSTS_VARIABLE, LAN_VARIABLE = "LISTEN_PAGE_HOSTS", "LISTEN_PAGE_LAN"
_START_TIMEOUT_S = 60.0

#: Streamlit options. Nothing leaves the machine and nothing is watched or guessed.
_OPTIONS: dict[str, str] = {
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.maxUploadSize": "200",
    "server.enableCORS": "true",
    "server.enableXsrfProtection": "true",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    # A full collection after every run of every phone's script holds all the others up; Python's own does.
    "runner.postScriptGC": "false",
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


@dataclass(frozen=True, slots=True)
class Lan:
    """How the page is served to the shop's network.

    Attributes
    ----------
    hosts : tuple of str
        Addresses and names under which it answers, the one to be shown first.
    folder : Path
        Private folder with PIN and certificates.
    served : listen.lan.authority.Served
    """

    hosts: tuple[str, ...]
    folder: Path
    served: Served


def command(port: int, script: Path | None = None, lan: Lan | None = None) -> list[str]:
    """Return the command line that serves the page on `port`, of this machine alone or of its network."""
    script = script or shipped("app") / "bench_page_serve.py"
    options = {**_OPTIONS, "server.port": str(port), "server.address": "0.0.0.0" if lan else HOST}
    options["browser.serverAddress"] = lan.hosts[0] if lan else HOST
    if lan:
        options["server.sslCertFile"] = str(lan.served.certificate)
        options["server.sslKeyFile"] = str(lan.served.key)
    flags = [f"--{name}={value}" for name, value in options.items()]
    return [sys.executable, "-m", "streamlit", "run", str(script), *flags]


def choose_port(wanted: int | None, host: str = HOST) -> int:
    """Return `wanted` if it is free; without a wish, the first free one from the default on.

    Raises
    ------
    BadParameter
        When the wanted port is taken.
    """
    if wanted is not None:
        if not _is_free(wanted, host):
            raise BadParameter(
                f"Port {wanted} is taken by another program: leave out --port or name another."
            )
        return wanted
    for port in range(DEFAULT_PORT, DEFAULT_PORT + 50):
        if _is_free(port, host):
            return port
    raise BadParameter(f"All ports from {DEFAULT_PORT} on are taken: name a free one with --port.")


def _is_free(port: int, host: str) -> bool:
    with socket.socket() as probe:
        # As the server does: a port that only lingers from an earlier run counts as free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def start(
    port: int, environment: dict[str, str] | None = None, lan: Lan | None = None
) -> subprocess.Popen[bytes]:
    """Start the server and return its process; its own chatter is dropped, its errors are kept."""
    hosts = (*lan.hosts, "localhost") if lan else (HOST, "localhost")
    env = {
        **os.environ,
        # By environment, so that a Streamlit that does not know the setting still starts.
        "STREAMLIT_SERVER_ALLOWED_HOSTS": " ".join(hosts),
        HOSTS_VARIABLE: " ".join(hosts),
        LAN_VARIABLE: str(lan.folder) if lan else "",
        **(environment or {}),
    }
    return subprocess.Popen(command(port, lan=lan), env=env, stdout=subprocess.DEVNULL)


def wait_until_up(
    process: subprocess.Popen[bytes], port: int, timeout_s: float = _START_TIMEOUT_S, lan: Lan | None = None
) -> bool:
    """Wait until the server answers; False when it ended or did not answer in time."""
    deadline = time.monotonic() + timeout_s
    trust = ssl.create_default_context(cafile=str(lan.served.authority)) if lan else None
    url = f"{'https' if lan else 'http'}://{HOST}:{port}/_stcore/health"
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2, context=trust):
                return True
        except urllib.error.HTTPError:
            return True  # it answers: it asks for the PIN
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
