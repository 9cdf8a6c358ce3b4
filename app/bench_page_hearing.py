"""Hear clips for the page: one warm decoder for everyone, and nothing heard twice."""

from __future__ import annotations

import hashlib
import os
import threading
from dataclasses import dataclass, field
from functools import lru_cache

import bench_page_picture as drawing
import streamlit as st

from listen.bench import judge
from listen.bench.machine import Machine, unknown_machine
from listen.decode import DecodeWorker
from listen.errors import ListenError
from listen.library.pointer import shop_model
from listen.pipeline import hear_with_picture
from listen.report.sound import speech_spans
from listen.report.to_dict import to_dict
from listen.types import ClipInfo, Mains, ModelInfo, Quality, Report, StoryMark


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
    """Return the one warm decoder of this server."""
    return DecodeWorker()


class _Turns:
    """Verdicts before players: with many phones at once, nobody's picture delays another's level."""

    def __init__(self, at_once: int, patience_s: float) -> None:
        self._slots = threading.Semaphore(at_once)
        self._patience_s = patience_s
        self._waiting = 0
        self._idle = threading.Condition()

    def __enter__(self) -> None:
        with self._idle:
            self._waiting += 1
        self._slots.acquire()

    def __exit__(self, *error: object) -> None:
        self._slots.release()
        with self._idle:
            self._waiting -= 1
            if self._waiting == 0:
                self._idle.notify_all()

    def after_others(self) -> None:
        """Wait until nobody waits for a verdict, or patience ends."""
        with self._idle:
            self._idle.wait_for(lambda: self._waiting == 0, timeout=self._patience_s)


#: As many clips are heard at once as there are processors: more only hinder each other.
_turns = _Turns(max(os.cpu_count() or 1, 1), patience_s=8.0)


@lru_cache(maxsize=32)
def hear(clip: Clip, told: Told) -> Heard:
    """Hear one clip; what cannot be used comes back as a sentence, not as an error."""
    with _turns:
        return _hear(clip, told)


def _hear(clip: Clip, told: Told) -> Heard:
    try:
        report, picture = hear_with_picture(
            clip.data, name=clip.name, machine=told.machine, mains_hz=told.mains_hz, marks=told.marks,
            gauges=dict(told.gauges), said=told.said, answers=dict(told.answers), worker=worker(),
            model_folder=shop_model(),
        )  # fmt: skip
    except ListenError as error:
        return Heard(clip, trouble=str(error))
    return Heard(clip, report, drawing.picture_png(picture))


@lru_cache(maxsize=8)
def playable(clip: Clip, duration_s: float) -> bytes | None:
    """Return the clip as WAV for the player, None where it is too long or cannot be decoded again."""
    _turns.after_others()
    try:
        return drawing.playable_wav(clip.data, clip.name, duration_s, worker())
    except ListenError:
        return None


@lru_cache(maxsize=8)
def raised(wav: bytes) -> bytes | None:
    """Return the player's sound with its low hums raised, None where it is too long for that."""
    return drawing.raised_wav(wav)


def to_share(clip: Clip, result: Report) -> bytes | None:
    """Return the clip as a WAV with every span muted in which the ear heard speech; None where it is too long."""
    wav = playable(clip, result.clip.duration_s)
    return drawing.muted_wav(wav, speech_spans(to_dict(result))) if wav else None


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
