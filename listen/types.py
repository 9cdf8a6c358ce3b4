"""The frozen nouns that flow through: Recording → Features → SoundEvents → Findings → Report.

Conventions
-----------
Times are seconds from the start of the clip. Units end a name (`_s`, `_hz`,
`_db`). Arrays are float32 and read-only. Identity is a content hash, so that
the same clip gives the same report, byte for byte. Empty is a value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

Verdict = Literal["normal", "abnormal", "cannot_tell"]
Level = Literal["fine", "watch", "service", "stop"]
Strength = Literal["strong", "fair", "weak"]
StopKind = Literal["stand_clear", "power", "water", "handle", "pump"]

VERDICTS: tuple[str, ...] = ("normal", "abnormal", "cannot_tell")
#: From mild to urgent: a level is compared by its place here.
LEVELS: tuple[str, ...] = ("fine", "watch", "service", "stop")
#: In the order in which they are said.
STOP_KINDS: tuple[str, ...] = ("stand_clear", "power", "water", "handle", "pump")


@dataclass(frozen=True, slots=True)
class Limit:
    """One thing that limits what a clip can carry.

    Parameters
    ----------
    code : str
        Stable slug (`narrow_band`, `clipped`, `masked`, ...).
    text : str
        One sentence for a technician.
    blocks : tuple of str
        Sounds (ear words) whose presence or absence the clip cannot carry
        because of this limit; ``("*",)`` means every sound.
    start_s, end_s : float or None
        Span that is affected; None means the whole clip.
    retake : str or None
        The one thing to do differently in a new recording.
    """

    code: str
    text: str
    blocks: tuple[str, ...] = ()
    start_s: float | None = None
    end_s: float | None = None
    retake: str | None = None


@dataclass(frozen=True, slots=True)
class ClipInfo:
    """What is known of the file itself."""

    name: str
    sha256: str
    duration_s: float
    sample_rate_hz: int
    channels: int
    container: str
    codec: str


@dataclass(frozen=True, slots=True)
class Quality:
    """What this recording can carry.

    Attributes
    ----------
    usable : bool
        False when no verdict may rest on the sound of this clip.
    band_hz : (float, float)
        Lowest and highest frequency the recording chain let through.
    clipped_fraction : float
        Share of samples at the stops, 0..1.
    noise_floor_dbfs, level_dbfs : float
        10th percentile and mean of the short-time RMS, dB re full scale.
    limits : tuple of Limit
    """

    usable: bool
    band_hz: tuple[float, float]
    clipped_fraction: float
    noise_floor_dbfs: float
    level_dbfs: float
    limits: tuple[Limit, ...] = ()

    def carries(self, sound: str, start_s: float | None = None, end_s: float | None = None) -> bool:
        """Tell whether the clip could have carried `sound` in a span (whole clip if None).

        A span is not carried when more than half of it lies under a limit that
        blocks the sound.
        """
        if not self.usable:
            return False
        for limit in self.limits:
            if sound not in limit.blocks and "*" not in limit.blocks:
                continue
            if limit.start_s is None or limit.end_s is None or start_s is None or end_s is None:
                if limit.start_s is None or limit.end_s is None:
                    return False
                continue
            covered = min(end_s, limit.end_s) - max(start_s, limit.start_s)
            if covered > 0.5 * max(end_s - start_s, 1e-9):
                return False
        return True


@dataclass(frozen=True, slots=True)
class Mains:
    """The mains estimate of a clip; `hz` is None when it is withheld.

    `source` is "heard", "given" or "unknown"; `measured_hz` is the fitted
    frequency (for example 49.98), None when nothing was measured.
    """

    hz: int | None
    source: str
    measured_hz: float | None = None


@dataclass(frozen=True, slots=True)
class SoundEvent:
    """One sound the ear heard, in acoustic words; no part is named here.

    Attributes
    ----------
    id : str
        "e1", "e2", ... in order of onset.
    sound : str
        A word of :data:`listen.vocabulary.SOUNDS`.
    onset_s, offset_s : float
    probability : float
        0..1, how sure the ear is that this sound is there.
    measures : mapping of str to float
        Measurements with units in their names, see design of each sound.
    open_start, open_end : bool
        The sound was already there when the clip began, or still there at its end.
    """

    id: str
    sound: str
    onset_s: float
    offset_s: float
    probability: float
    measures: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    open_start: bool = False
    open_end: bool = False

    @property
    def duration_s(self) -> float:
        return self.offset_s - self.onset_s


@dataclass(frozen=True, slots=True)
class StoryMark:
    """Something a person says was done, or a state that began, at a moment."""

    at_s: float
    word: str


@dataclass(frozen=True, slots=True)
class StorySpan:
    """A stretch of the clip in one operating state. `source`: "given" or "drafted"."""

    state: str
    start_s: float
    end_s: float
    source: str
    rests_on: str = ""


@dataclass(frozen=True, slots=True)
class Expected:
    """One sound that a state calls for. `status`: "heard", "missing" or "cannot_tell"."""

    state: str
    sound: str
    status: str
    event_ids: tuple[str, ...] = ()
    text: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of a finding, as it stands now.

    Attributes
    ----------
    text : str
    order : int
        1 for the first; after every answer anew.
    id : str
        Slug within its finding.
    part : str
        Part it lies in, in words; empty where it lies in none.
    standing : {"first", "open", "unlikely"}
    steps : int
        Weight of evidence without answers, in whole steps; for ordering only.
    speaks_for, speaks_against : tuple of str
        What was heard, told or answered.
    why_not : str
        Why an unlikely cause is not looked for first.
    """

    text: str
    order: int
    id: str = ""
    part: str = ""
    standing: str = "open"
    steps: int = 0
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One next check. `needs`: look | controls | covers_off_unplugged | qualified_live.

    `id` is the slug under which an answer is given; `yes_stops` and `no_stops`
    are the kinds of stop that an answer calls for.
    """

    text: str
    needs: str
    who: str
    cautions: tuple[str, ...] = ()
    if_yes: str = ""
    if_no: str = ""
    id: str = ""
    yes_stops: tuple[str, ...] = ()
    no_stops: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answered:
    """A check that was answered: "yes", "no" or "unknown", and what that means."""

    id: str
    text: str
    answer: str
    means: str = ""


@dataclass(frozen=True, slots=True)
class Timing:
    """A duration, delay or count of the clip beside what is usual, and where that comes from."""

    name: str
    text: str
    value: float
    unit: str
    usual: tuple[float, float]
    source: str
    within: bool


@dataclass(frozen=True, slots=True)
class Finding:
    """A symptom with its likely causes and the checks that decide between them.

    `unproven`: the clip points to it and does not prove it; it accuses nothing.
    """

    code: str
    symptom: str
    level: str
    strength: str
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()
    event_ids: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    causes: tuple[Cause, ...] = ()
    checks: tuple[Check, ...] = ()
    stop_kinds: tuple[str, ...] = ()
    rests_on: str = ""
    say_first: str = ""
    answered: tuple[Answered, ...] = ()
    unproven: bool = False


@dataclass(frozen=True, slots=True)
class ModelInfo:
    version: str
    trained_on: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Report:
    """All that is said about one clip; :mod:`listen.report` turns it into text, JSON and pictures."""

    clip: ClipInfo
    level: str
    say_first: str | None
    verdict: str
    because: str
    retake: str | None
    quality: Quality
    mains: Mains
    events: tuple[SoundEvent, ...]
    story: tuple[StorySpan, ...]
    expected: tuple[Expected, ...]
    findings: tuple[Finding, ...]
    model: ModelInfo
    question: str | None = None
    timings: tuple[Timing, ...] = ()
