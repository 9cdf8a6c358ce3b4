"""The only place that composes the stages: recording in, report out."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from listen.bench import Machine, judge, load_machine, unknown_machine
from listen.decode import open_clip
from listen.ear.bundle import Bundle, load_bundle
from listen.ear.events import listen_for_events
from listen.errors import BadParameter
from listen.features.collect import Collector
from listen.features.picture import Picture
from listen.quality import measure_quality, with_masks
from listen.resources import shipped
from listen.types import ClipInfo, Report, StoryMark

if TYPE_CHECKING:
    from listen.decode import DecodeWorker


@lru_cache(maxsize=4)
def model(folder: str | None = None) -> Bundle:
    """Load the shipped model (or the one in `folder`) once."""
    return load_bundle(folder if folder is not None else shipped("models") / "ear")


def hear(
    source: str | os.PathLike[str] | bytes,
    *,
    name: str | None = None,
    machine: Machine | str | os.PathLike[str] | None = None,
    marks: Sequence[StoryMark] = (),
    gauges: Mapping[str, float] | None = None,
    said: str = "",
    answers: Mapping[str, str] | None = None,
    mains_hz: int | None = None,
    pump: str | None = None,
    worker: DecodeWorker | None = None,
    model_folder: str | None = None,
) -> Report:
    """Hear one clip and judge it.

    Parameters
    ----------
    source : path or bytes
        A recording as a phone makes it.
    name : str, optional
        Name shown for bytes.
    machine : Machine, path or name of a bundled profile, optional
    marks : sequence of StoryMark
        What was done when, s from the start of the clip.
    gauges : mapping
        Readings in bar above atmosphere, by gauge name (`boiler`, `brew`, `line`).
    said : str
        What the person says about it, in their own words.
    answers : mapping
        Id of a first-minute question or of a check to "yes", "no" or "unknown".
    mains_hz : {50, 60}, optional
    pump : {"rotary", "vibratory", "none"}, optional
        Overrides the profile.
    worker : DecodeWorker, optional
        A warm decoder for pages and batches; without it each clip gets a fresh child.
    model_folder : str, optional
        Another model than the shipped one.

    Returns
    -------
    Report

    Raises
    ------
    UnreadableClip, UnusableClip
        The clip cannot be decoded or used.
    BadParameter, ProfileError
        An argument is not allowed.

    Examples
    --------
    >>> report = hear("clip.m4a", machine="demo-two-boiler")  # doctest: +SKIP
    >>> report.level  # doctest: +SKIP
    'fine'
    """
    report, _ = hear_with_picture(
        source, name=name, machine=machine, marks=marks, gauges=gauges, said=said, answers=answers,
        mains_hz=mains_hz, pump=pump, worker=worker, model_folder=model_folder,
    )  # fmt: skip
    return report


def hear_with_picture(
    source: str | os.PathLike[str] | bytes,
    *,
    name: str | None = None,
    machine: Machine | str | os.PathLike[str] | None = None,
    marks: Sequence[StoryMark] = (),
    gauges: Mapping[str, float] | None = None,
    said: str = "",
    answers: Mapping[str, str] | None = None,
    mains_hz: int | None = None,
    pump: str | None = None,
    worker: DecodeWorker | None = None,
    model_folder: str | None = None,
) -> tuple[Report, Picture]:
    """As :func:`hear`, with the log-frequency picture of the clip for a page."""
    profile = profile_of(machine, pump)
    if mains_hz is not None and mains_hz not in (50, 60):
        raise BadParameter(f"Mains is 50 or 60 Hz, not {mains_hz}.")
    bundle = model(model_folder)
    with open_clip(source, name=name, worker=worker) as clip:
        collector = Collector(clip.rate_hz)
        for block in clip.blocks():
            collector.push(block)
        info = ClipInfo(
            clip.name, clip.sha256, clip.duration_s, clip.rate_hz, clip.channels, clip.container, clip.codec
        )
        notes = clip.notes
    features = collector.finish()
    quality = measure_quality(features, notes)
    events, mains = listen_for_events(features, bundle, mains_hz or profile.mains_hz)
    quality = with_masks(quality, events, features.duration_s)
    judged = judge(
        events=events, quality=quality, mains=mains, duration_s=features.duration_s, machine=profile, marks=tuple(marks),
        gauges=dict(gauges or {}), said=said, answers=dict(answers or {}),
    )  # fmt: skip
    report = Report(
        clip=info, level=judged.level, say_first=judged.say_first, verdict=judged.verdict, because=judged.because,
        retake=judged.retake, quality=quality, mains=mains, events=events, story=judged.story, expected=judged.expected,
        findings=judged.findings, model=bundle.info, question=judged.question, timings=judged.timings,
    )  # fmt: skip
    return report, features.picture


def profile_of(machine: Machine | str | os.PathLike[str] | None, pump: str | None = None) -> Machine:
    """Resolve a machine argument to a profile; None is a machine of which nothing is known."""
    if machine is None:
        profile = unknown_machine()
    elif isinstance(machine, Machine):
        profile = machine
    else:
        profile = load_machine(Path(machine) if isinstance(machine, os.PathLike) else machine)
    return profile if pump is None else replace(profile, pump=pump)
