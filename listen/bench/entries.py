"""The nouns of the knowledge tables, as they are after loading.

A fault is a symptom with one or more *patterns*; a pattern is a list of
*clauses*, each the name of a fact (see :mod:`listen.bench.facts`) with its
parameters. An expectation is one sound that a state calls for, allows or
explains.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from listen.bench.machine import Machine
from listen.types import Check, Finding

#: How much trouble a check is within its rung.
EFFORTS: tuple[str, ...] = ("moment", "minutes", "long")
#: How a check is done, from untouched to live: also the order in which checks are said.
NEEDS: tuple[str, ...] = ("look", "controls", "covers_off_unplugged", "qualified_live")
WHO: tuple[str, ...] = ("customer", "technician")
ROLES: tuple[str, ...] = ("must", "may")
RESTS_ON: tuple[str, ...] = ("published", "computed", "common practice", "estimate")
#: The code under which every danger that a person reports is found.
DANGER_CODE = "danger_reported"
STRENGTHS: tuple[str, ...] = ("weak", "fair", "strong")


@dataclass(frozen=True, slots=True)
class Condition:
    """What a machine must be for an entry to hold; unknown fields pass unless `known` lists them.

    An entry that lists a field under `unknown` is for machines of which that field is not known.
    """

    allowed: Mapping[str, tuple[Any, ...]]
    known: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()

    def holds(self, machine: Machine) -> bool:
        if any(getattr(machine, key) is not None for key in self.unknown):
            return False
        for key, values in self.allowed.items():
            value = getattr(machine, key)
            if value is None:
                if key in self.known:
                    return False
            elif value not in values:
                return False
        return True


@dataclass(frozen=True, slots=True)
class Clause:
    """One fact to be asked of a scene.

    `note` is said as it is when the fact holds. `rests_on` tells where its
    numbers come from: an estimate unless the table says otherwise.
    """

    fact: str
    params: Mapping[str, Any]
    note: str = ""
    rests_on: str = "estimate"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the water path, with what a visit to it needs."""

    slug: str
    words: str
    does: str
    bring: tuple[str, ...]
    tools: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CauseEntry:
    """A cause as laid down; the list it stands in runs from often to seldom."""

    id: str
    text: str
    part: Part | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A fact that speaks for some causes of a fault and against others.

    Signs of one `group` go together in nature (a hiss and the refills it
    brings): of such a group only the heaviest counts for a cause.
    """

    clause: Clause
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    steps: int = 1
    group: str = ""


@dataclass(frozen=True, slots=True)
class Pattern:
    """One way in which a fault shows itself; all clauses of `needs` must hold.

    `symptom` replaces the fault's own where the pattern proves less.
    """

    name: str
    level: str
    strength: str
    verdict: str
    needs: tuple[Clause, ...]
    supports: tuple[Clause, ...]
    against: tuple[Clause, ...]
    machine: Condition
    stop_kinds: tuple[str, ...] = ()
    say_first: str = ""
    question: str = ""
    symptom: str = ""


@dataclass(frozen=True, slots=True)
class CheckEntry:
    """A check as laid down; `runs_machine` keeps it away from every stop.

    `yes_for` and `no_for` name the causes that an answer speaks for; it speaks
    against those of the other list. `effort` is its trouble within its rung.
    """

    check: Check
    runs_machine: bool
    yes_for: tuple[str, ...] = ()
    no_for: tuple[str, ...] = ()
    effort: str = "moment"

    @property
    def can_stop(self) -> bool:
        return bool(self.check.yes_stops or self.check.no_stops)


@dataclass(frozen=True, slots=True)
class Fault:
    """A symptom and all that is known of it.

    `explained_by`: faults of which this one is a mere consequence; where one of
    them is found at no lower a level, it stands for both. `plain` says the
    symptom to a customer.
    """

    code: str
    symptom: str
    causes: tuple[CauseEntry, ...]
    checks: tuple[CheckEntry, ...]
    patterns: tuple[Pattern, ...]
    machine: Condition
    rests_on: str
    explained_by: tuple[str, ...] = ()
    signs: tuple[Sign, ...] = ()
    plain: str = ""


@dataclass(frozen=True, slots=True)
class Expectation:
    """One kind of sound in one state.

    Attributes
    ----------
    sounds : tuple of str
        Any of these will do; the first is the one reported.
    role : {"must", "may"}
        A *must* is looked for; both explain the sound when it is there.
    at : {"span", "start", "end"}
        Where a must belongs: anywhere, or within `before_s`/`after_s` of an end of the state.
    boiler_at_most_bar : float or None
        Explains only when the boiler gauge was read and stands no higher.
    with_pump : bool
        Explains only while a pump runs (and 1.5 s after).
    ends : bool
        Explains only a sound that ends within the clip.
    max_s : float or None
        Explains no sound that lasts longer.
    must_carry : bool
        The clip has to be able to carry the sound for a verdict of `normal`.
    question : str
        What to ask where it was looked for and could not be told.
    """

    state: str
    sounds: tuple[str, ...]
    role: str
    machine: Condition
    rests_on: str
    at: str = "span"
    before_s: float = 1.5
    after_s: float = 1.5
    boiler_at_most_bar: float | None = None
    with_pump: bool = False
    ends: bool = False
    max_s: float | None = None
    must_carry: bool = False
    question: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """What an action a person reports means for the state.

    `begins` is the state from that moment on; after `lasts_s` it passes into
    `then`. `before` is what the state was until then, if no earlier mark says.
    `certain`: the action itself settles the state; otherwise it is drafted.
    """

    slug: str
    words: str
    begins: str
    certain: bool
    before: str | None = None
    then: str | None = None
    lasts_s: float | None = None
    then_certain: bool = False
    lever_begins: str | None = None


@dataclass(frozen=True, slots=True)
class GaugeRule:
    """A gauge above a limit: `above` names a field of the profile, or stands for a number of bar."""

    fault: str
    gauge: str
    above: str | float
    margin_bar: float
    level: str
    stop_kinds: tuple[str, ...]
    say: str
    only_if_unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Danger:
    """One danger that a person reports, in words or as an answer to a first-minute question."""

    id: str
    question: str
    symptom: str
    do: str
    stop_kinds: tuple[str, ...]
    words: tuple[str, ...]
    causes: tuple[CauseEntry, ...]
    checks: tuple[CheckEntry, ...]
    first_minute: bool
    rests_on: str
    no_touch: bool = False


@dataclass(frozen=True, slots=True)
class StopKind:
    """How a kind of stop is said; `say_no_touch` where the casing may be live."""

    kind: str
    say: str
    say_three_phase: str
    say_no_touch: str


@dataclass(frozen=True, slots=True)
class TimingRow:
    """What is usual of one duration, delay or count."""

    name: str
    words: str
    unit: str
    usual: tuple[float, float]
    rests_on: str
    machine: Condition


@dataclass(frozen=True, slots=True)
class Settings:
    """Numbers of the bench as a whole; each is laid down with its ground in `settings.toml`."""

    event_probability: float
    absence_ceiling: float
    first_stroke_s: float
    first_stroke_probability: float
    strokes_show_pump: float
    mark_tolerance_s: float
    unexplained_slack_s: float
    pump_gap_s: float
    drowned_pump_db: float
    drowned_strokes_db: float
    soft_after_motor_db: float
    soft_after_strokes_db: float
    loud_after_db: float
    perhaps_after_db: float
    behind_db: float
    no_discharge_p: float
    discharge_band_hz: float
    pressure_sounds: tuple[str, ...]
    needs_explaining: tuple[str, ...]
    masks: Mapping[str, tuple[str, ...]]
    draft_brew_s: float
    draft_min_pump_s: float
    burst_after_s: float
    default_question: str
    default_retake: str


@dataclass(frozen=True, slots=True)
class SaidQuestion:
    """A question that certain words of the person call for."""

    words: tuple[str, ...]
    question: str


@dataclass(frozen=True, slots=True)
class Knowledge:
    """All tables together."""

    settings: Settings
    state_words: Mapping[str, str]
    actions: Mapping[str, Action]
    expectations: tuple[Expectation, ...]
    faults: tuple[Fault, ...]
    gauge_rules: tuple[GaugeRule, ...]
    dangers: tuple[Danger, ...]
    stop_kinds: Mapping[str, StopKind]
    cautions: Mapping[str, str]
    said_questions: tuple[SaidQuestion, ...]
    parts: Mapping[str, Part]
    timings: tuple[TimingRow, ...]

    def entries(self) -> Iterator[tuple[Fault | Danger, CheckEntry]]:
        """Return every check with the fault or danger it belongs to."""
        owners: list[Fault | Danger] = [*self.faults, *self.dangers]
        for owner in owners:
            for entry in owner.checks:
                yield owner, entry

    def owner(self, finding: Finding) -> Fault | Danger | None:
        """Return the fault or danger behind a finding."""
        if finding.code == DANGER_CODE:
            return next((d for d in self.dangers if d.symptom == finding.symptom), None)
        return next((f for f in self.faults if f.code == finding.code), None)

    def fault(self, code: str) -> Fault:
        return next(fault for fault in self.faults if fault.code == code)

    def expected(self, state: str, machine: Machine) -> tuple[Expectation, ...]:
        """Return what holds in a state on this machine."""
        return tuple(e for e in self.expectations if e.state == state and e.machine.holds(machine))
