"""Hear one clip in a worker, whatever comes: the outcome is a value, never an exception.

Runs in processes of this machine and of a cluster alike. Each process keeps one
warm decoder; the clip itself is decoded in a child under limits, as everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from listen.batch.plan import Context
from listen.decode import DecodeWorker
from listen.errors import BadParameter, ListenError, ModelBundleError, UnreadableClip, UnusableClip
from listen.pipeline import hear
from listen.report.to_dict import to_line

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


def do(task: Task) -> Outcome:
    """Hear a clip, and keep it in the library where that is asked for."""
    outcome = Outcome(HEARD, task.report) if task.report is not None else hear_task(task)
    if task.keep is None or outcome.report is None:
        return outcome
    from listen.batch.keep import keep_clip

    try:
        keep_clip(task, outcome.report)
    except ListenError as error:
        return Outcome(
            outcome.status, outcome.report, not_kept=f"{task.name} was heard but not kept: {error}"
        )
    return outcome


def hear_task(task: Task) -> Outcome:
    """Hear a clip; every failure becomes a sentence."""
    source = Path(task.path) if task.data is None else task.data
    try:
        report = hear(
            source,
            name=task.name,
            worker=_decoder(),
            model_folder=task.model_folder,
            **task.context.arguments(),
        )
    except (UnreadableClip, UnusableClip, BadParameter) as error:
        return Outcome(UNUSABLE, sentence=_about(task.name, error))
    except ModelBundleError as error:
        return Outcome(FAILED, sentence=_about(task.name, error))
    except Exception as error:  # one clip must never stop the others
        what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        return Outcome(
            FAILED,
            sentence=f"{task.name}: our own failure, not yours ({what.rstrip('.')}). Please report it.",
        )
    if report.model.sha256 != task.model_sha256:
        return Outcome(
            FAILED,
            sentence=f"{task.name}: a worker has another model ({report.model.version}); "
            "install the same version of this program and the same model on every machine.",
        )
    if report.clip.sha256 != task.sha256:
        return Outcome(FAILED, sentence=f"{task.name}: the file changed while it was read; run again.")
    return Outcome(HEARD, to_line(report))


@cache
def _decoder() -> DecodeWorker:
    return DecodeWorker()


def _about(name: str, error: ListenError) -> str:
    return str(error) if name in str(error) else f"{name}: {error}"
