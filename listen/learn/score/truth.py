"""What is known of a clip, and what was heard in it: the two sides that the scorer compares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from listen.learn.score.rules import Rules
from listen.types import SoundEvent

FIND, FREE, ABSENT = "find", "free", "absent"


@dataclass(frozen=True, slots=True)
class TruthLabel:
    """A sound that is in the clip.

    Parameters
    ----------
    sound : str
    onset_s, offset_s : float
    snr_db : float
        In-band level over all else.
    source : str
        `machine` or `background`.
    passed_share : float
        Share of its energy that the codec lets through, 0..1.
    erased : bool
        The phone took it away.
    """

    sound: str
    onset_s: float
    offset_s: float
    snr_db: float = 60.0
    source: str = "machine"
    passed_share: float = 1.0
    erased: bool = False

    def status(self, rules: Rules) -> str:
        """Say whether it must be found (`find`), may be (`free`), or counts as not there (`absent`)."""
        if self.source == "background" and self.sound in rules.free_background:
            return FREE
        if self.snr_db < rules.free_db:
            return ABSENT
        if self.snr_db < rules.find_db or self.passed_share < rules.least_passed_share or self.erased:
            return FREE
        return FIND


@dataclass(frozen=True, slots=True)
class TruthClip:
    """A clip with its truth.

    Parameters
    ----------
    name : str
    group : str
        The recording, or the scene, that it comes from: what intervals count.
    duration_s : float
    labels : sequence of TruthLabel
    family : str
        Scene family, equal to the code of the finding it calls for; else a word of the set's own.
    verdict : str or None
        None where a clip has none (one sound alone).
    carries : bool
        Whether the clip can carry its verdict, from the truth alone.
    weak : bool
        Labels hold for the clip as a whole, without times.
    audio : bytes, path or None
    story : sequence of (float, str)
    machine : mapping or None
    gauges : mapping
    how : mapping
        How to make the clip again, for the record.
    credit : str
        Whom to name wherever the clip is played.
    mains_hz : float or None
        The mains as it was, where it is known.
    """

    name: str
    group: str
    duration_s: float
    labels: Sequence[TruthLabel]
    family: str = ""
    verdict: str | None = None
    carries: bool = False
    weak: bool = False
    audio: bytes | Path | None = None
    story: Sequence[tuple[float, str]] = ()
    machine: Mapping[str, Any] | None = None
    gauges: Mapping[str, float] = field(default_factory=dict)
    how: Mapping[str, Any] = field(default_factory=dict)
    credit: str = ""
    mains_hz: float | None = None


@dataclass(frozen=True, slots=True)
class HeardFinding:
    """A finding; `from_sound` is False when it rests on story, gauge or answers alone."""

    code: str
    level: str
    from_sound: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """What the tool said of a clip; `findings` in its order, `measured_hz` the mains that it measured."""

    events: Sequence[SoundEvent]
    verdict: str
    level: str
    findings: Sequence[HeardFinding] = ()
    measured_hz: float | None = None


Pair = tuple[TruthClip, Heard]
