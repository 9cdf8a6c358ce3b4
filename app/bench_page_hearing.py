"""Hear clips for the page: in processes beside the server, and nothing heard twice."""

from __future__ import annotations

import atexit
import hashlib
from dataclasses import dataclass, field
from functools import cache

import streamlit as st
from bench_page_kept import kept
from bench_page_timeline import low_hum

from listen.bench import judge
from listen.bench.machine import Machine, unknown_machine
from listen.crew import Crew
from listen.crew.jobs import Task
from listen.decode import DecodeWorker
from listen.errors import ListenError
from listen.library.pointer import shop_model
from listen.report.player import muted_wav
from listen.report.sound import speech_spans
from listen.report.to_dict import to_dict
from listen.types import ClipInfo, Mains, ModelInfo, Quality, Report, StoryMark

#: Heard clips, and sounds for the player, that are remembered: a film may have 200 MB.
_MOST_KEPT_BYTES = 150_000_000


@dataclass(frozen=True)
class Clip:
    """A recording as it came; two clips are the same when name and bytes are."""

    name: str
    sha256: str
    data: bytes = field(repr=False, compare=False)


@dataclass(frozen=True)
class Told:
    """What a person told about machine and clip."""

    machine: Machine
    mains_hz: int | None = None
    marks: tuple[StoryMark, ...] = ()
    gauges: tuple[tuple[str, float], ...] = ()
    said: str = ""
    answers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Heard:
    """One clip's result for the page: the report and the picture, or a sentence why not."""

    clip: Clip
    result: Report | None = None
    png: bytes = b""
    trouble: str = ""


def make_clip(name: str, data: bytes) -> Clip:
    """Name the clip by the hash of its bytes."""
    return Clip(name, hashlib.sha256(data).hexdigest(), data)


@st.cache_resource(show_spinner=False)
def worker() -> DecodeWorker:
    """Return the server's own warm decoder, for what is put into the library."""
    return DecodeWorker()


@cache
def crew() -> Crew:
    """Return the hearing processes of this server, for the page and for customers' messages."""
    made = Crew()
    atexit.register(made.close)
    return made


def _weight(parts: tuple[object, ...]) -> int:
    """Bytes of the clips, pictures and sounds in some arguments and their answer."""
    total = 0
    for part in parts:
        if isinstance(part, bytes):
            total += len(part)
        elif isinstance(part, Clip):
            total += len(part.data)
        elif isinstance(part, Heard):
            total += len(part.png)
        elif isinstance(part, tuple):
            total += _weight(part)
    return total


@kept(_MOST_KEPT_BYTES, _weight)
def hear(clip: Clip, told: Told) -> Heard:
    """Hear one clip; what cannot be used comes back as a sentence, not as an error."""
    task = Task(
        clip.name, told.machine, told.mains_hz, told.marks, dict(told.gauges), told.said, dict(told.answers), shop_model()
    )  # fmt: skip
    try:
        return Heard(clip, *crew().hear(clip.data, task))
    except ListenError as error:
        return Heard(clip, trouble=str(error))


@kept(_MOST_KEPT_BYTES, _weight)
def sounds(clip: Clip, duration_s: float, higher: bool) -> tuple[bytes | None, bytes | None]:
    """Return the clip as WAV for the player, and with its low hums raised where `higher` asks for it.

    None where it is too long for that or cannot be decoded again.
    """
    try:
        wav, raised = crew().play(clip.data, clip.name, duration_s, higher=higher)
    except ListenError:
        return None, None
    return wav or None, raised or None


def to_share(clip: Clip, result: Report) -> bytes | None:
    """Return the clip as a WAV with every span muted in which the ear heard speech; None where it is too long."""
    report = to_dict(result)
    wav, _ = sounds(clip, result.clip.duration_s, low_hum(report))
    return muted_wav(wav, speech_spans(report)) if wav else None


def judge_without_clip(told: Told) -> Report:
    """Judge answers, gauges and words alone: danger does not wait for a recording."""
    silent = Quality(False, (0.0, 0.0), 0.0, float("-inf"), float("-inf"))
    mains = Mains(None, "unknown")
    judged = judge(
        events=(), quality=silent, mains=mains, duration_s=0.0, machine=told.machine, marks=(),
        gauges=dict(told.gauges), said=told.said, answers=dict(told.answers),
    )  # fmt: skip
    return Report(
        clip=ClipInfo("no clip", "0" * 64, 0.0, 1, 1, "none", "none"), level=judged.level,
        say_first=judged.say_first, verdict=judged.verdict, because=judged.because, retake=judged.retake,
        quality=silent, mains=mains, events=(), story=(), expected=(), findings=judged.findings,
        model=ModelInfo("none", "none", ""), question=judged.question,
    )  # fmt: skip


def nothing_told() -> Told:
    return Told(unknown_machine())
