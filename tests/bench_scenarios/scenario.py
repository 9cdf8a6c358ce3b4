"""Scenarios as a technician writes them down: machine, story, sounds, and what to conclude.

One scenario is one table of ``data/*.toml``. Sounds are one line each::

    "3.0 click"
    "3.1-28 motor_run shaft_hz=23.9 level_db=18"
    "0-40 hiss level_db=14 p=0.9 open_start"

Times are seconds from the start of the clip. A measure that is not given takes
an ordinary value of :data:`MEASURES` (invented, for tests only).
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from listen.bench import Machine, load_machine, parse_did
from listen.types import Limit, Mains, Quality, SoundEvent, StoryMark
from listen.vocabulary import SOUNDS

DATA = Path(__file__).parent / "data"

#: Ordinary measures of each sound; every number is invented for the tests.
MEASURES: dict[str, dict[str, float]] = {
    "click": {"level_db": 22.0, "decay_ms": 12.0, "centroid_hz": 3500.0},
    "click_train": {"rate_hz": 12.0, "count": 60.0, "regularity": 0.4},
    "thump": {"level_db": 24.0},
    "bang": {"level_db": 36.0},
    "mains_hum": {"line_hz": 100.0, "lines": 3.0, "level_db": 14.0},
    "mains_buzz": {"line_hz": 100.0, "lines": 14.0, "level_db": 24.0},
    "motor_run": {"shaft_hz": 23.8, "slip": 0.048, "poles": 4.0, "lines": 9.0, "level_db": 20.0},
    "stroke_train": {"strokes_hz": 50.0, "lines": 12.0, "level_db": 22.0, "missing_fraction": 0.0},
    "gravel": {"level_db": 15.0, "roughness": 0.7},
    "squeal": {"tone_hz": 2600.0, "level_db": 20.0},
    "honk": {"tone_hz": 320.0, "level_db": 18.0},
    "beep": {"tone_hz": 2700.0, "level_db": 22.0},
    "hiss": {
        "level_db": 13.0, "centroid_hz": 6200.0, "low_hz": 2000.0, "high_hz": 16000.0,
        "rise_ms": 900.0, "fall_ms": 150.0, "growth_db_per_min": 0.0,
    },
    "blast": {
        "level_db": 30.0, "centroid_hz": 3600.0, "low_hz": 500.0, "high_hz": 16000.0,
        "rise_ms": 20.0, "fall_ms": 400.0, "growth_db_per_min": 0.0,
    },
    "burst": {"level_db": 21.0, "decay_ms": 480.0, "centroid_hz": 4200.0},
    "boil": {"level_db": 11.0, "growth_db_per_min": 1.5},
    "splutter": {"rate_hz": 8.0},
    "drip": {"rate_hz": 0.6},
}  # fmt: skip

#: How long a sound lasts when only its onset is written, seconds.
LENGTHS_S = {"click": 0.02, "thump": 0.15, "bang": 0.25, "burst": 1.0, "beep": 0.3, "clatter": 0.3}

_LINE = re.compile(r"(?P<from>[\d.]+)(?:-(?P<to>[\d.]+))? (?P<sound>[a-z_]+)(?P<rest>(?: \S+)*)")


@dataclass(frozen=True)
class Want:
    """What a good technician concludes; an empty field is not checked.

    Attributes
    ----------
    level, verdict : tuple of str
        Acceptable answers.
    about : tuple of str
        Patterns; one must be found in a finding among the first `within`.
    not_about : tuple of str
        Patterns that no finding may be about.
    check : tuple of str
        Patterns; the first check of the leading finding touches one of them.
    kinds : tuple of str
        Kinds of stop that must all be said.
    says : tuple of str
        Patterns that must all be found in what is said first.
    asks : tuple of str
        Patterns; the question or the retake holds one.
    never : tuple of str
        Patterns that no instruction may hold, unless the sentence forbids it.
    """

    level: tuple[str, ...]
    verdict: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    within: int = 1
    not_about: tuple[str, ...] = ()
    check: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    says: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    never: tuple[str, ...] = ()


@dataclass(frozen=True)
class Scenario:
    """One case at the bench, ready to be judged."""

    id: str
    kind: str
    title: str
    why: str
    machine: Machine
    want: Want
    duration_s: float
    quality: Quality
    mains: Mains
    events: tuple[SoundEvent, ...] = ()
    marks: tuple[StoryMark, ...] = ()
    gauges: dict[str, float] = field(default_factory=dict)
    said: str = ""
    answers: dict[str, str] = field(default_factory=dict)
    covers: tuple[str, ...] = ()
    twin: str = ""
    disputed: str = ""


def read_event(number: int, line: str) -> SoundEvent:
    """Read one sound from its line; raises ValueError on a line or a word that is not known."""
    found = _LINE.fullmatch(line)
    if found is None or found["sound"] not in SOUNDS:
        raise ValueError(f"not a sound line: {line!r}")
    sound = found["sound"]
    onset_s = float(found["from"])
    if found["to"] is None:
        offset_s = onset_s + LENGTHS_S[sound]
    else:
        offset_s = float(found["to"])
    if offset_s <= onset_s:
        raise ValueError(f"the sound ends before it begins: {line!r}")
    words = found["rest"].split()
    measures = dict(MEASURES.get(sound, {"level_db": 13.0}))
    given = dict(word.split("=") for word in words if "=" in word)
    probability = float(given.pop("p", 0.93))
    unknown = set(given) - set(measures)
    if unknown:
        raise ValueError(f"{sound} has no measure {sorted(unknown)}")
    measures.update({name: float(value) for name, value in given.items()})
    flags = {word for word in words if "=" not in word}
    if flags - {"open_start", "open_end"}:
        raise ValueError(f"not known: {flags}")
    return SoundEvent(
        f"e{number}",
        sound,
        onset_s,
        offset_s,
        probability,
        MappingProxyType(measures),
        "open_start" in flags,
        "open_end" in flags,
    )


def _machine(spec: str | dict[str, Any]) -> Machine:
    if isinstance(spec, str):
        return load_machine(spec)
    fields = {key: tuple(value) if isinstance(value, list) else value for key, value in spec.items()}
    return Machine(name="as told", **fields)


def _quality(spec: dict[str, Any]) -> Quality:
    limits = tuple(
        Limit(**{**limit, "blocks": tuple(limit.get("blocks", ()))}) for limit in spec.get("limits", ())
    )
    low_hz, high_hz = spec.get("band_hz", (40.0, 20000.0))
    return Quality(
        spec.get("usable", True), (low_hz, high_hz), spec.get("clipped_fraction", 0.0), -62.0, -36.0, limits
    )


def _want(spec: dict[str, Any]) -> Want:
    return Want(**{key: tuple(value) if isinstance(value, list) else value for key, value in spec.items()})


def _scenario(table: dict[str, Any], kind: str) -> Scenario:
    rest = dict(table)
    lines = sorted(rest.pop("events", []), key=lambda line: float(re.split(r"[- ]", line)[0]))
    mains_hz = rest.pop("mains_hz", 50)
    return Scenario(
        kind=rest.pop("kind", kind),
        machine=_machine(rest.pop("machine")),
        want=_want(rest.pop("want")),
        events=tuple(read_event(number, line) for number, line in enumerate(lines, start=1)),
        marks=tuple(parse_did(text) for text in rest.pop("did", [])),
        quality=_quality(rest.pop("quality", {})),
        mains=Mains(mains_hz, "given", mains_hz * 0.9996) if mains_hz else Mains(None, "unknown"),
        covers=tuple(rest.pop("covers", [])),
        **rest,
    )


def load(name: str) -> list[Scenario]:
    """Load all scenarios of one data file.

    Raises
    ------
    ValueError, TypeError
        On a sound line or a key that is not known.
    """
    with (DATA / f"{name}.toml").open("rb") as file:
        content = tomllib.load(file)
    return [_scenario(table, content["kind"]) for table in content["scenario"]]


def load_all(*, skip: frozenset[str] = frozenset()) -> list[Scenario]:
    """Load the scenarios of every data file but those in `skip`."""
    names = sorted(path.stem for path in DATA.glob("*.toml"))
    return [scenario for name in names if name not in skip for scenario in load(name)]
