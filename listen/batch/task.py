"""What a worker of a batch is given, and what comes back: plain values that travel between processes."""

from __future__ import annotations

from dataclasses import dataclass

from listen.batch.plan import Context

HEARD, UNUSABLE, FAILED = "heard", "unusable", "failed"


@dataclass(frozen=True, slots=True)
class Keep:
    """The library that a clip is kept in: its place, its vault, who adds, and the machine there."""

    at: str | None
    vault: str | None
    by: str
    machine: str | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """What a worker is given.

    Attributes
    ----------
    path : str
        Read where `data` is None.
    data : bytes or None
        The clip itself, for workers that do not see this machine's disks.
    name : str
        Name to show.
    identity, sha256 : str
        Of the result, and of the clip's bytes as the result names them.
    model_folder : str or None
    model_sha256 : str
        What the model must be: on another machine it may be another one.
    keep : Keep or None
    report : str or None
        A report that is there already: the clip only has to be kept.
    """

    path: str
    data: bytes | None
    name: str
    identity: str
    sha256: str
    context: Context
    model_folder: str | None
    model_sha256: str
    keep: Keep | None = None
    report: str | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a clip: `report` is one line of JSON where it was heard, else `sentence` says why not."""

    status: str
    report: str | None = None
    sentence: str = ""
    not_kept: str = ""

    @property
    def lasting(self) -> bool:
        """Whether the same clip would give the same again; our own failures are tried anew."""
        return self.status in (HEARD, UNUSABLE)
