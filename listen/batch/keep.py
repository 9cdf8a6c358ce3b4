"""Put a heard clip into the shop's library, once, however often the batch is run."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

from listen.batch.task import Task
from listen.library import Library, open_library


def keep_clip(task: Task, report: str) -> None:
    """Add a clip and what was said of it; what is there already is left as it is.

    Raises
    ------
    ListenError
        It was deleted on request, its machine is not known, or the library cannot be written.
    """
    keep = task.keep
    if keep is None:
        return
    library = _library(keep.at, keep.vault)
    told = task.context
    record = library.add_clip(
        Path(task.path) if task.data is None else task.data, name=task.name, machine=keep.machine, story=told.marks,
        gauges=told.gauges, said=told.said, answers=told.answers, by=keep.by, came_from="folder",
    )  # fmt: skip
    data = json.loads(report)
    for opinion in library.opinions(record.sha256):
        if opinion.report == data:
            return
    library.add_opinion(record.sha256, data)


@cache
def _library(at: str | None, vault: str | None) -> Library:
    return open_library(at, vault=vault)
