"""Limits that the child puts on itself before the decoder is loaded.

Each limit is set as far as the system knows it; a system without the
`resource` module (Windows) keeps the parent's limits only: waiting time,
decoded length and file size.
"""

from __future__ import annotations

try:
    import resource
except ImportError:  # not a POSIX system
    resource = None  # type: ignore[assignment]


def _lower(name: str, value: int, *, slack: int = 0) -> None:
    """Lower one limit, hard `slack` above soft; never raise one."""
    kind = getattr(resource, name, None)
    if resource is None or kind is None:
        return
    _, hard = resource.getrlimit(kind)
    top = value + slack
    if hard != resource.RLIM_INFINITY:
        value, top = min(value, hard), min(top, hard)
    try:
        resource.setrlimit(kind, (value, top))
    except (ValueError, OSError):
        # The system knows the limit but does not let it be set (macOS: address space).
        return


def before_decoder(memory_bytes: int) -> None:
    """Limit address space, core dumps, written files and open files."""
    _lower("RLIMIT_CORE", 0)
    _lower("RLIMIT_FSIZE", 0)
    _lower("RLIMIT_AS", memory_bytes)
    _lower("RLIMIT_NOFILE", 32)


def before_clip(memory_bytes: int, cpu_s: int) -> None:
    """Close the last doors when everything is loaded: no new file, process or thread.

    With three files allowed and three open (clip, pipe, null device) no
    nested reference in a clip can be opened, whatever the decoder believes.
    """
    _lower("RLIMIT_AS", memory_bytes)
    # The soft limit ends the child with a signal of its own, which tells why.
    _lower("RLIMIT_CPU", max(1, int(cpu_s)), slack=2)
    _lower("RLIMIT_NPROC", 0)
    _lower("RLIMIT_NOFILE", 3)
