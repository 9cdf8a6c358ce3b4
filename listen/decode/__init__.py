"""Any phone file, from strangers: bytes or path → mono blocks, decoded in a guarded child.

A recording is the only thing in this program that a stranger wrote. It is
therefore opened here and nowhere else: the parent checks that it is a regular
file and what kind of file it is, and hands the open file (never a name) to a
child process that is limited in memory, time and open files and that can open
nothing else. What comes back is numbers, and the parent checks those too.

Conventions
-----------
Blocks are float32, mono, at the clip's own sample rate, finite, full scale
at 1.0. Names are loaded on first use, so that the child (which needs few of
them) starts quickly and the parent never imports the decoder.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from listen.decode.clip import OpenClip, Recording, open_clip, read_clip
    from listen.decode.limits import MIN_DURATION_S, DecodeLimits
    from listen.decode.worker import DecodeWorker

_WHERE = {
    "open_clip": "clip",
    "read_clip": "clip",
    "OpenClip": "clip",
    "Recording": "clip",
    "DecodeLimits": "limits",
    "MIN_DURATION_S": "limits",
    "DecodeWorker": "worker",
}

__all__ = [
    "MIN_DURATION_S",
    "DecodeLimits",
    "DecodeWorker",
    "OpenClip",
    "Recording",
    "open_clip",
    "read_clip",
]


def __getattr__(name: str) -> Any:
    """Import the module that holds a public name when the name is first asked for."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
    globals()[name] = value
    return value
