"""A PostgreSQL server of one's own, in a folder, reached by a socket alone: for the library's tests.

``python -m tests.support.postgres start FOLDER`` prints the URL of its database;
``stop FOLDER`` ends it. Nothing of an installed server is touched.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
from pathlib import Path

ENVIRONMENT = "LISTEN_TEST_POSTGRES"


def programs() -> Path | None:
    """Folder with `initdb` and `pg_ctl`, the newest of Debian's; None where there is none."""
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"),
        key=lambda p: int(p.parts[-3]) if p.parts[-3].isdigit() else 0,
    )
    if found:
        return found[-1].parent
    on_path = shutil.which("pg_ctl")
    return Path(on_path).resolve().parent if on_path and shutil.which("initdb") else None


def start(folder: Path) -> str:
    """Start a server in an empty folder and return the URL of its database `postgres`."""
    bin_ = programs()
    if bin_ is None:
        raise RuntimeError("PostgreSQL is not installed")
    data, sockets = folder / "data", folder / "s"
    for place in (data, sockets):
        place.mkdir(parents=True)
    if os.getuid() == 0:
        # The server refuses to run as root: Debian's package made its own user.
        user = pwd.getpwnam("postgres")
        for place in (folder, data, sockets):
            os.chown(place, user.pw_uid, user.pw_gid)
    _run(bin_ / "initdb", "-D", data, "-U", "tester", "--auth=trust", "-E", "UTF8", "--locale=C", "--no-sync")
    start_again(folder)
    return f"postgresql://tester@/postgres?host={sockets}"


def start_again(folder: Path) -> None:
    """Start the server of a folder that was stopped."""
    bin_ = programs()
    if bin_ is None:
        raise RuntimeError("PostgreSQL is not installed")
    options = f"-k {folder / 's'} -c listen_addresses='' -c fsync=off -c max_connections=40"
    _run(bin_ / "pg_ctl", "-D", folder / "data", "-o", options, "-l", folder / "data" / "log", "-w", "start")


def stop(folder: Path) -> None:
    """End the server of a folder."""
    bin_ = programs()
    if bin_ is not None:
        _run(bin_ / "pg_ctl", "-D", folder / "data", "-m", "immediate", "-w", "stop")


def _run(*command: object) -> None:
    words = [str(word) for word in command]
    if os.getuid() == 0:
        words = ["setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups", *words]
    done = subprocess.run(
        words, capture_output=True, text=True, cwd="/", stdin=subprocess.DEVNULL, check=False
    )
    if done.returncode:
        raise RuntimeError(f"{Path(str(command[0])).name}: {done.stderr or done.stdout}")


if __name__ == "__main__":
    verb, where = sys.argv[1], Path(sys.argv[2])
    if verb == "start":
        print(start(where))
    else:
        stop(where)
