"""The demo: clips of one invented machine, synthesised on the spot (nothing is downloaded)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from listen.bench.machine import Machine
from listen.types import StoryMark

#: Families of the demo scenes → the title a person reads.
_TITLES = {
    "normal_brew": "A brew",
    "normal_warm_up": "Warming up",
    "lasting_hiss": "A hiss after 45 minutes",
}


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
    from synthetic_audio.demo import demo_scenes

    from synthetic_audio import render, write

    clips = []
    for number, spec in enumerate(demo_scenes(), start=1):
        scene = render(spec)
        name = f"demo-{number}-{scene.family.replace('_', '-')}"
        write(scene, folder, name)
        clips.append(
            DemoClip(
                path=folder / f"{name}.wav",
                title=_TITLES.get(scene.family, scene.family.replace("_", " ").capitalize()),
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
