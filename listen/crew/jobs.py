"""What a hearing process does with a clip: hear it and draw it, or make it playable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from listen.bench import Machine
from listen.crew.wire import pack, unpack
from listen.decode import DecodeWorker
from listen.pipeline import hear_with_picture
from listen.report import player
from listen.types import StoryMark


@dataclass(frozen=True, slots=True)
class Task:
    """What is told about a clip that is to be heard, as :func:`listen.pipeline.hear` takes it."""

    name: str
    machine: Machine | None = None
    mains_hz: int | None = None
    marks: tuple[StoryMark, ...] = ()
    gauges: Mapping[str, float] | None = None
    said: str = ""
    answers: Mapping[str, str] | None = None
    model_folder: str | None = None
    draw: bool = True


@cache
def _decoder() -> DecodeWorker:
    return DecodeWorker()


def warm_up(head: Mapping[str, Any], data: bytes) -> tuple[dict[str, Any], tuple[bytes, ...]]:
    """Load what the first clip needs."""
    from listen.pipeline import model

    model(None)
    _decoder()
    return {}, ()


def hear(head: Mapping[str, Any], data: bytes) -> tuple[dict[str, Any], tuple[bytes, ...]]:
    """Hear a clip; answer with its report and, where asked for, its picture as PNG."""
    task: Task = unpack(Task, head["task"])
    report, picture = hear_with_picture(
        data, name=task.name, machine=task.machine, mains_hz=task.mains_hz, marks=task.marks,
        gauges=dict(task.gauges or {}), said=task.said, answers=dict(task.answers or {}), worker=_decoder(),
        model_folder=task.model_folder,
    )  # fmt: skip
    return {"report": pack(report)}, (player.picture_png(picture),) if task.draw else ()


def play(head: Mapping[str, Any], data: bytes) -> tuple[dict[str, Any], tuple[bytes, ...]]:
    """Make a clip playable; `higher`: also with its low hums raised. Nothing comes back of what is too long."""
    wav = player.playable_wav(data, head["name"], head["duration_s"], _decoder())
    higher = player.raised_wav(wav) if wav and head["higher"] else None
    return {}, (wav or b"", higher or b"")


JOBS = {"warm_up": warm_up, "hear": hear, "play": play}
