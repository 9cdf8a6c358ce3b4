"""The nouns of the library, as its callers see them.

A label (what a person hears), an outcome (what the repair confirmed) and an
opinion (what the tool said) are three things, kept and shown as three.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from listen.types import StoryMark

#: What the owner of a recording agreed to, each including what stands before it: kept for the work on
#: this machine; also learnt from; also passed on, without place, names and words.
CONSENTS: tuple[str, ...] = ("shop", "learn", "share")
Consent = Literal["shop", "learn", "share"]
OUTCOME_STATES: tuple[str, ...] = ("resolved", "unresolved", "unknown")
INTAKE_STATES: tuple[str, ...] = ("new", "heard", "waiting", "answered")
#: What a picture beside a recording shows.
PICTURES: tuple[str, ...] = ("gauge", "plate", "sight_glass", "wet_spot", "other")
FILE_KINDS: tuple[str, ...] = ("audio", "picture")


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """One machine of the shop's: `profile` holds the known fields of :class:`listen.bench.Machine`."""

    id: str
    name: str
    profile: Mapping[str, Any]
    place: str
    note: str
    added_at: str
    added_by: str
    fold: str


@dataclass(frozen=True, slots=True)
class ClipRecord:
    """One recording and what is known of it.

    Attributes
    ----------
    sha256 : str
        Of the original bytes: what the clip is known by.
    machine : str or None
        None where no machine is in it, or nobody said which.
    story : tuple of StoryMark
    gauges, answers, capture : mapping
        Readings in bar; first-minute answers; how it was recorded (`phone`, `place`, flags that stayed on).
    consent : str
        One of CONSENTS.
    keep_until : str or None
        Day after which it is to be deleted.
    good_at, good_by : str or None
        When and by whom it was called known-good.
    complete_at, complete_by : str or None
        When and by whom its labels were called complete: only then does their absence say anything.
    before_clip : str or None
        The clip from before the repair that this one shows the result of.
    fold : str
        `train`, or `test`: never learnt from.
    was_known : bool
        True when these very bytes were in the library before this call.
    """

    sha256: str
    machine: str | None
    name: str
    size_bytes: int
    container: str
    codec: str
    rate_hz: int
    channels: int
    duration_s: float
    band_hz: tuple[float, float]
    flac_sha256: str
    story: tuple[StoryMark, ...]
    gauges: Mapping[str, float]
    said: str
    answers: Mapping[str, str]
    capture: Mapping[str, Any]
    recorded_at: str | None
    added_at: str
    added_by: str
    consent: str
    consent_by: str
    keep_until: str | None
    ticket: str
    good_by: str | None
    good_at: str | None
    complete_by: str | None
    complete_at: str | None
    came_from: str
    origin_sha256: str | None
    before_clip: str | None
    fold: str
    was_known: bool = False


@dataclass(frozen=True, slots=True)
class LabelRecord:
    """What a person hears in a span; `present` False says that the sound is *not* there.

    `withdrawn_at` and `withdrawn_by` are set on rows of the history; `replaces` names the row that
    this one corrects.
    """

    id: int
    clip: str
    sound: str
    onset_s: float
    offset_s: float
    present: bool
    author: str
    made_at: str
    replaces: int | None
    withdrawn_at: str | None
    withdrawn_by: str | None
    note: str


@dataclass(frozen=True, slots=True)
class OutcomeRecord:
    """What the repair confirmed: part, cause, what shows it, who says so. `state`: one of OUTCOME_STATES."""

    id: int
    machine: str | None
    clip: str | None
    state: str
    part: str
    cause: str
    evidence: str
    confirmed_by: str
    confirmed_at: str
    ticket: str


@dataclass(frozen=True, slots=True)
class PictureRecord:
    """One picture that was taken beside a recording. `shows`: one of PICTURES."""

    id: int
    clip: str
    sha256: str
    size_bytes: int
    shows: str
    added_at: str
    added_by: str


@dataclass(frozen=True, slots=True)
class OpinionRecord:
    """What the tool said of a clip: the whole report, and which model said it."""

    id: int
    clip: str
    made_at: str
    model_version: str
    model_sha256: str
    verdict: str
    level: str
    report: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class IntakeFile:
    """One file a customer sent. `refused` says in one sentence why it could not be used, else empty."""

    id: int
    receipt: str
    sha256: str
    size_bytes: int
    name: str
    kind: str
    added_at: str
    refused: str


@dataclass(frozen=True, slots=True)
class IntakeRecord:
    """One message of a customer in the queue. `status`: one of INTAKE_STATES; `level` as the report's, or empty."""

    receipt: str
    created_at: str
    machine: str | None
    status: str
    level: str
    sender: str
    contact: str
    said: str
    answers: Mapping[str, str]
    gauges: Mapping[str, float]
    consent: str
    link: str
    draft: str
    answer: str
    answered_by: str | None
    answered_at: str | None
    files: tuple[IntakeFile, ...] = ()


@dataclass(frozen=True, slots=True)
class ModelRecord:
    """One version of the shop's own model. `state`: candidate, refused, current or retired."""

    id: int
    version: str
    sha256: str
    made_at: str
    made_by: str
    trained_on: str
    clips: tuple[str, ...]
    measured: Mapping[str, Any]
    says: str
    state: str


@dataclass(frozen=True, slots=True)
class SimilarClip:
    """A past clip that sounds alike.

    Attributes
    ----------
    distance : float
        0 is the same; the mean difference of the ear's measurements in standard deviations.
    at_s, theirs_at_s : float
        Where in this clip and in the other the most alike stretches begin.
    outcome : OutcomeRecord or None
        What was confirmed then.
    why : tuple of str
        What the two have in common.
    """

    clip: ClipRecord
    distance: float
    at_s: float
    theirs_at_s: float
    outcome: OutcomeRecord | None
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Twin:
    """A clip with the same sound: `how` is `same sound` (sent twice, encoded again) and `likeness` 0..1."""

    clip: ClipRecord
    how: str
    likeness: float
    shift_s: float


@dataclass(frozen=True, slots=True)
class Deletion:
    """What a deletion removed. `models` are versions that were trained on the clip and still remember it."""

    clips: tuple[str, ...]
    removed_files: int
    models: tuple[int, ...] = ()
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Checked:
    """What `verify` found.

    Attributes
    ----------
    problems : tuple of str
        Gaps and damage, one sentence each; empty when the library verifies.
    notes : tuple of str
        Harmless leftovers.
    n_files, n_clips : int
        How many were looked at.
    """

    problems: tuple[str, ...]
    notes: tuple[str, ...]
    n_files: int
    n_clips: int
    leftovers: tuple[str, ...] = field(default=())

    @property
    def fine(self) -> bool:
        return not self.problems
