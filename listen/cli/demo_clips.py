"""The demo: clips of one invented machine, synthesised on the spot (nothing is downloaded)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from listen.bench.machine import Machine
from listen.types import StoryMark

#: What the three clips are called, in their order.
DEMO_TITLES: tuple[str, ...] = ("A brew", "Warming up", "A hiss that stays")


@dataclass(frozen=True, slots=True)
class DemoClip:
    """One synthesised clip with what a person would tell about it."""

    path: Path
    title: str
    machine: Machine
    marks: tuple[StoryMark, ...]
    gauges: Mapping[str, float]


def make_demo(folder: Path) -> list[DemoClip]:
    """Synthesise the demo clips into `folder` as WAV files.

    Parameters
    ----------
    folder : Path
        An existing folder.

    Returns
    -------
    list of DemoClip
        Three clips of one invented machine, the same ones every time.
    """
    from synthetic_audio import render, write
    from synthetic_audio.demo import demo_scenes

    clips = []
    for number, (title, spec) in enumerate(zip(DEMO_TITLES, demo_scenes(), strict=True), start=1):
        scene = render(spec)
        name = f"demo-{number}-{scene.family.replace('_', '-')}"
        write(scene, folder, name)
        clips.append(
            DemoClip(
                path=folder / f"{name}.wav",
                title=title,
                machine=_machine(scene.machine),
                marks=tuple(StoryMark(float(at_s), str(word)) for at_s, word in scene.story),
                gauges=dict(scene.gauges),
            )
        )
    return clips


def _machine(known: Mapping[str, Any]) -> Machine:
    """Build the bench's machine from the synthesiser's own description of it."""
    names = {field.name for field in fields(Machine)}
    return Machine(**{name: value for name, value in known.items() if name in names})
