"""Hear one clip in a worker, whatever comes: the outcome is a value, never an exception.

Runs in processes of this machine and of a cluster alike. Each process keeps one
warm decoder; the clip itself is decoded in a child under limits, as everywhere.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from listen.batch.task import FAILED, HEARD, UNUSABLE, Outcome, Task
from listen.decode import DecodeWorker
from listen.errors import BadParameter, ListenError, ModelBundleError, UnreadableClip, UnusableClip
from listen.pipeline import hear
from listen.report.to_dict import to_line


def do(task: Task) -> Outcome:
    """Hear a clip, and keep it in the library where that is asked for."""
    outcome = Outcome(HEARD, task.report) if task.report is not None else hear_task(task)
    if task.keep is None or outcome.report is None:
        return outcome
    # The library is loaded only where clips are kept.
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
