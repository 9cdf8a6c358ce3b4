"""Start the child: isolated interpreter, empty environment, the clip as standard input.

The child runs with `-I -S`: no user folder, no current folder, no PYTHON*
variables, no start-up hooks. It is told the folders that this very process
imports the package and the decoder from, so that a wheel, an editable
install, a user install and a plain checkout all work, and always with the
same version of the code at both ends.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import lru_cache
from importlib.machinery import PathFinder
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any

from listen.errors import ListenError

_BOOT = (
    "import sys; sys.path.extend(sys.argv[3:]); from listen.decode._child import main; main(*sys.argv[1:3])"
)
#: A Python or system library outside the usual folders is found through these.
_KEPT_VARIABLES = ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "SYSTEMROOT")


@lru_cache(maxsize=1)
def _roots() -> tuple[str, ...]:
    # Python may have the current folder on its path, where anybody's files lie.
    spec = PathFinder.find_spec("av", [folder for folder in sys.path if folder]) or find_spec("av")
    if spec is None or spec.origin is None:
        raise ListenError("The decoder (PyAV) is not installed: install the project again.")
    package = Path(__file__).resolve().parent.parent.parent
    return tuple(dict.fromkeys((str(package), str(Path(spec.origin).resolve().parent.parent))))


def child_command(verb: str, job: dict[str, Any]) -> list[str]:
    """Return the command that starts the child for `clip` or `serve`.

    Raises
    ------
    ListenError
        When there is no interpreter or no decoder to start.
    """
    if not sys.executable:
        raise ListenError("Python does not know its own program file: start the tool from a normal install.")
    # -X utf8 keeps the child independent of the locale it no longer has.
    head = [sys.executable, "-I", "-S", "-B", "-X", "utf8", "-c", _BOOT]
    return [*head, verb, json.dumps(job), *_roots()]


def start(verb: str, job: dict[str, Any], stdin: IO[Any] | int, stdout: int) -> subprocess.Popen[bytes]:
    """Start the child.

    Parameters
    ----------
    verb : str
        `clip` or `serve`.
    job : dict
        Demuxer and limits.
    stdin : file or int
        The clip (or the worker's socket).
    stdout : int
        `subprocess.PIPE` for the frames.

    Raises
    ------
    ListenError
        When the system cannot start it.
    """
    environment = {name: os.environ[name] for name in _KEPT_VARIABLES if name in os.environ}
    try:
        return subprocess.Popen(
            child_command(verb, job),
            stdin=stdin,
            stdout=stdout,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=environment,
            cwd=Path(sys.executable).anchor or None,
        )
    except OSError as error:
        raise ListenError(
            f"The decoder could not be started ({error.strerror}): close other programs and try again."
        ) from error
