"""Machines of the second generator that stay themselves from scene to scene.

The generator draws a new machine for every scene. Here the profile and the numbers that belong
to a machine's build (slip, vanes, nozzle, decay of its discharge) are drawn once, and so are the
modes of its valves, pump and coils; all else is drawn for each scene.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any
from unittest import mock

import numpy as np

from listen.learn.score.truth import TruthClip
from synthetic_audio import FAMILIES, second
from synthetic_audio.second import periodic, struck

#: The module; its package shows only its function of the same name.
drawing = importlib.import_module("synthetic_audio.second.draw")
#: Scenes a minute and longer: a shop's clips are short.
LONG = ("fill_too_often", "fill_never_ends")
#: Values of an event that are the machine's build, not what is done with it.
BUILT: dict[str, tuple[str, ...]] = {
    "motor": ("slip", "poles", "vanes", "rise_s"), "stroke_pump": ("build_s",), "hiss": ("slope_db", "knee_hz", "spit"),
    "jet": ("peak_hz",), "blast": ("peak_hz", "rise_s"), "burst": ("decay_s", "peak_hz"), "gravel": ("blows_hz",),
    "click_train": ("rate_hz",),
}  # fmt: skip
#: Which valve or contact of a machine clicks in a family's scenes.
_FILLS = ("normal_fill", "missing_click_fill")
_CONTACTS = ("normal_idle", "normal_steam", "normal_warm_up", "lasting_hiss", "blast", "chatter")


@dataclass(frozen=True, slots=True)
class Build:
    """A machine: its seed, its profile, and its numbers by (kind of event, name)."""

    seed: int
    profile: dict[str, Any]
    values: dict[tuple[str, str], Any]

    def families(self) -> tuple[str, ...]:
        """Return the families of short scenes that this machine can show."""
        needs = {f: drawing._NEEDS.get(f, {}) for f in FAMILIES if f not in LONG and f != "no_machine"}
        return tuple(
            f
            for f, need in needs.items()
            if all(self.profile[key] in allowed for key, allowed in need.items())
        )


def build(seed: int, pump: str) -> Build:
    """Draw a machine with a pump of this kind (`rotary`, `vibratory`), a solenoid group and a filling probe."""
    rng = np.random.default_rng([seed, 2])
    needs = {
        "pump": (pump,), "group": ("solenoid",), "fill": ("probe",), "shared_pump": (True,), "coils": ("ac",),
        "vacuum_valve": (True,),
    }  # fmt: skip
    machine = Build(seed, drawing._machine(rng, needs, None), {})
    for family in machine.families():
        for event in second.draw(seed, family).events:
            for name in BUILT.get(event.kind, ()):
                if event.source == "machine" and name in event.values:
                    machine.values.setdefault((event.kind, name), event.values[name])
    return machine


def spec_of(machine: Build, seed: int, family: str) -> second.Spec:
    """Draw a scene of this machine: its own room, phone, surroundings, levels and times."""
    with mock.patch.object(drawing, "_machine", lambda *_: dict(machine.profile)):
        spec = second.draw(seed, family)
    events = []
    for event in spec.events:
        own = {
            name: machine.values[event.kind, name]
            for name in BUILT.get(event.kind, ())
            if event.source == "machine" and name in event.values and (event.kind, name) in machine.values
        }
        # A length of 0 s is the clip's edge, not the machine's.
        own = {name: value for name, value in own.items() if name != "rise_s" or event.values["rise_s"] > 0}
        events.append(replace(event, values={**event.values, **own}))
    return replace(spec, events=tuple(events))


@contextmanager
def _bodies(machine: Build, family: str) -> Iterator[None]:
    """Let valves, pump and coils answer with the modes that this machine was built with."""
    part = 1 if family in _FILLS else 2 if family in _CONTACTS else 0
    valve, plate = struck._valve, periodic.plate

    def own_valve(_rng: np.random.Generator) -> Any:
        return valve(np.random.default_rng([machine.seed, 3, part]))

    def own_plate(
        _rng: np.random.Generator, low: float, high: float, modes: int, *rest: Any, **more: Any
    ) -> Any:
        return plate(
            np.random.default_rng([machine.seed, 4, int(low), modes]), low, high, modes, *rest, **more
        )

    with mock.patch.object(struck, "_valve", own_valve), mock.patch.object(periodic, "plate", own_plate):
        yield


def scene_of(machine: Build, seed: int, family: str) -> second.Scene:
    """Draw and render a scene of this machine; the same arguments give the same samples."""
    with _bodies(machine, family):
        return second.render(spec_of(machine, seed, family), second.built_in())


def families_of(machine: Build, n: int, seed: int) -> list[str]:
    """Return n families, each about as often, in an order of their own."""
    rng = np.random.default_rng([machine.seed, seed])
    names: list[str] = []
    while len(names) < n:
        names += [str(name) for name in rng.permutation(machine.families())]
    return names[:n]


@dataclass(frozen=True, slots=True)
class Made:
    """A clip: its truth without its sound, its features, and the rows that learning takes from it."""

    truth: TruthClip
    features: Any
    rows: Any


def make(machine: Build, seed: int, family: str, recipe: Any) -> Made:
    """Render one clip of a machine and describe it as the library's learning does."""
    from listen.cli.score_sets import labels_of

    scene = scene_of(machine, seed, family)
    return described(
        TruthClip(
            name=f"{machine.seed}-{family}-{seed}", group=str(seed), duration_s=len(scene.samples) / scene.rate_hz,
            labels=labels_of(scene.labels, scene.hidden), family=family, verdict=scene.verdict, carries=scene.carries,
            story=list(scene.story), machine=scene.machine, gauges=scene.gauges,
        ), scene.samples, scene.rate_hz, recipe, -1,
    )  # fmt: skip


def make_frozen(seed: int, family: str) -> Made:
    """Render one of the scenes that decide about promotions."""
    import io

    import soundfile

    from listen.cli.score_sets import render_entry

    clip = render_entry({"kind": "scene", "what": family, "seed": seed, "background": None})
    samples, rate_hz = soundfile.read(io.BytesIO(clip.audio), dtype="float32")
    return described(replace(clip, audio=None), samples, rate_hz, None, 0)


def described(truth: TruthClip, samples: np.ndarray, rate_hz: int, recipe: Any, group: int) -> Made:
    """Measure a clip's features once; rows only where there is a recipe."""
    from listen.features.collect import Collector
    from listen.learn.labelled import Span, rows_from

    collector = Collector(rate_hz)
    collector.push(samples)
    features = collector.finish()
    if recipe is None:
        return Made(truth, features, None)
    # A person labels what can be heard and says nothing of its level.
    spans = [Span(x.sound, x.onset_s, x.offset_s) for x in truth.labels if x.snr_db >= 0.0 and not x.erased]
    return Made(truth, features, rows_from(features, spans, group, recipe))
