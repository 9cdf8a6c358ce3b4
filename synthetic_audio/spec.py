"""What is drawn before anything is rendered: a scene as data.

Conventions
-----------
Times are seconds from the start of the clip. `level_db` of an event is dB re
full scale at the microphone before room and phone: RMS of the loudest quarter
second for lasting sounds, peak for short ones. Everything is JSON: numbers,
strings, lists and dicts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Event:
    """One sound to be played.

    Parameters
    ----------
    source : str
        Key of :data:`synthetic_audio.sources.SOURCES`.
    sound : str or None
        Word of the vocabulary that a listener would use; None means no label (room tone).
    at_s, for_s : float
        Start, and how long it is driven.
    level_db : float
        See the module's conventions.
    params : dict
        What the source needs.
    where : str
        `machine` (through the room, near), `room` (through the room, far) or `air` (as it is).
    deciding : bool
        The verdict rests on this sound.
    absent : bool
        Rendered to measure how loud it would have been, but not mixed in.
    """

    source: str
    sound: str | None
    at_s: float
    for_s: float
    level_db: float
    params: dict[str, Any] = field(default_factory=dict)
    where: str = "machine"
    deciding: bool = False
    absent: bool = False


@dataclass(frozen=True, slots=True)
class Spec:
    """A scene, drawn and not yet rendered.

    Parameters
    ----------
    seed, split, family : int, str, str
    duration_s : float
    mains_hz : float
        True frequency of this supply.
    machine : dict
        Machine profile.
    physics : dict
        Numbers drawn for this machine (:mod:`synthetic_audio.ranges`), for the record.
    events : tuple of Event
    story : tuple of (float, str)
    gauges : dict
        Bar above atmosphere.
    verdict : str
    room, phone : dict or None
        None switches the stage off.
    """

    seed: int
    split: str
    family: str
    duration_s: float
    mains_hz: float
    machine: dict[str, Any]
    physics: dict[str, float]
    events: tuple[Event, ...]
    story: tuple[tuple[float, str], ...]
    gauges: dict[str, float]
    verdict: str
    room: dict[str, float] | None
    phone: dict[str, Any] | None

    def to_dict(self) -> dict[str, Any]:
        """Return the spec as plain JSON data."""
        plain = asdict(self)
        plain["events"] = [dict(e) for e in plain["events"]]
        plain["story"] = [list(s) for s in self.story]
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Spec:
        """Return the spec that `to_dict` wrote.

        Raises
        ------
        ValueError
            When a field is missing or unknown.
        """
        try:
            fields = dict(plain)
            fields["events"] = tuple(Event(**e) for e in fields["events"])
            fields["story"] = tuple((float(t), str(w)) for t, w in fields["story"])
            return cls(**fields)
        except (KeyError, TypeError) as error:
            raise ValueError(f"This is not a scene's spec ({error}): write it again with write().") from error
