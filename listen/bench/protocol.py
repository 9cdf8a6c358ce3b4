"""The shop's first hour: what to record from its own machines, as data.

Why it exists: the ear has learned from synthesised sound, and a shop's own
recordings are the cure. They are never worth a risk, so the steps stand behind
the first-minute questions, and what the loader refuses beyond spelling is a
step that would record a fault which can stop the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from listen.bench.entries import Knowledge
from listen.bench.knowledge import load_knowledge
from listen.bench.safety import ANSWERS, Question, first_minute_questions, kind_sentences
from listen.bench.tables import Table, read_toml
from listen.errors import BadParameter, KnowledgeError
from listen.resources import knowledge as shipped_folder
from listen.vocabulary import STATES

FILE = "protocol.toml"
DOERS: tuple[str, ...] = ("anyone", "technician")
#: Nearer than this a phone lies in splashes and steam; farther, the room is louder than the machine (our choice).
DISTANCE_CM: tuple[int, int] = (20, 100)
#: Under five seconds nothing settles; above five minutes nobody stays (our choice).
SECONDS: tuple[int, int] = (5, 300)


@dataclass(frozen=True, slots=True)
class Step:
    """One recording.

    Attributes
    ----------
    slug : str
    state : str
        State of :data:`listen.vocabulary.STATES` in which the machine is recorded.
    title : str
    seconds : int
        Length of the recording.
    distance_cm : int
        Phone to casing.
    who : str
        `anyone` or `technician`.
    do : tuple of str
        Sentences, in order.
    learns : str
        What the recording is for.
    stop_if : tuple of str
        On top of what always ends a recording.
    cautions : tuple of str
        Sentences.
    skip_if : str
        When the step is left out; may be empty.
    faults : tuple of str
        Codes of the known faults that may be recorded in it; empty for machines that work.
    """

    slug: str
    state: str
    title: str
    seconds: int
    distance_cm: int
    who: str
    do: tuple[str, ...]
    learns: str
    stop_if: tuple[str, ...]
    cautions: tuple[str, ...]
    skip_if: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Protocol:
    """The whole hour: what comes before, what ends it, and its steps.

    `gate` holds the first-minute questions. They are asked of every machine
    before its first step. `stop_first` is said when anything of `always_stop_if`
    happens, then `leave_it`.
    """

    title: str
    purpose: str
    machines: int
    before: tuple[str, ...]
    always_stop_if: tuple[str, ...]
    leave_it: str
    stop_first: tuple[str, ...]
    gate: tuple[Question, ...]
    steps: tuple[Step, ...]

    @property
    def recorded_s(self) -> int:
        """Seconds of sound from all machines that work (the known fault not counted)."""
        return self.machines * sum(step.seconds for step in self.steps if not step.faults)

    def steps_after(self, answers: Mapping[str, str]) -> tuple[Step, ...]:
        """Return the steps open to a machine: all of them, or none.

        Parameters
        ----------
        answers : mapping of str to str
            Id of a question of `gate` → `yes`, `no` or `unknown`.

        Returns
        -------
        tuple of Step
            Empty unless every question was answered with *no*: what is not known clears nothing.

        Raises
        ------
        BadParameter
            When an answer is not for a question of the gate, or not one of the three words.

        Examples
        --------
        >>> load_protocol().steps_after({})
        ()
        """
        asked = [question.id for question in self.gate]
        for name, answer in answers.items():
            if name not in asked:
                raise BadParameter(f"There is no question {name!r}; the questions are {', '.join(asked)}.")
            if answer not in ANSWERS:
                raise BadParameter(f"The answer to {name!r} must be yes, no or unknown, not {answer!r}.")
        return self.steps if all(answers.get(name) == "no" for name in asked) else ()


@lru_cache(maxsize=4)
def load_protocol(folder: Path | None = None) -> Protocol:
    """Load the recording protocol of a knowledge folder, the shipped one by default.

    Raises
    ------
    KnowledgeError
        On the first thing that is not as it should be, naming the key.
    """
    known = load_knowledge()
    table = read_toml((folder or shipped_folder()) / FILE, FILE, KnowledgeError)
    protocol = Protocol(
        title=_sentence(table, "title"),
        purpose=_sentence(table, "purpose"),
        machines=_whole(table, "machines", (1, 10)),
        before=_sentences(table, "before"),
        always_stop_if=_sentences(table, "always_stop_if"),
        leave_it=_sentence(table, "leave_it"),
        stop_first=kind_sentences([("stand_clear", "power")], None, known),
        gate=first_minute_questions(),
        steps=tuple(_step(row, known) for row in table.tables("step")),
    )
    table.done()
    slugs = [step.slug for step in protocol.steps]
    if not slugs or len(set(slugs)) != len(slugs):
        raise table.fail("there must be steps, each with a slug of its own.")
    return protocol


def _step(row: Table, known: Knowledge) -> Step:
    step = Step(
        slug=_sentence(row, "slug"),
        state=row.word("state", STATES),
        title=_sentence(row, "title"),
        seconds=_whole(row, "seconds", SECONDS),
        distance_cm=_whole(row, "distance_cm", DISTANCE_CM),
        who=row.word("who", DOERS),
        do=_sentences(row, "do"),
        learns=_sentence(row, "learns"),
        stop_if=_sentences(row, "stop_if"),
        cautions=tuple(known.cautions[slug] for slug in row.words("cautions", tuple(known.cautions))),
        skip_if=row.take("skip_if", str, ""),
        faults=row.words("faults", tuple(fault.code for fault in known.faults)),
    )
    row.done()
    for code in step.faults:
        stops = [p.name for p in known.fault(code).patterns if p.level == "stop"]
        if stops or not known.fault(code).patterns or any(r.fault == code for r in known.gauge_rules):
            raise row.fail(f"the fault {code!r} can stop the machine: nobody may be asked to record it.")
    if step.faults and (step.who != "technician" or not step.skip_if):
        raise row.fail("a known fault is recorded by a technician, and 'skip_if' says when not.")
    if not step.cautions:
        raise row.fail("'cautions' is empty; every step has at least one.")
    return step


def _sentence(table: Table, key: str) -> str:
    text: str = table.take(key, str)
    if not text.strip():
        raise table.fail(f"{key!r} is empty.")
    return text


def _sentences(table: Table, key: str) -> tuple[str, ...]:
    texts = table.words(key)
    if not texts or not all(text.strip() for text in texts):
        raise table.fail(f"{key!r} must be a list of texts, none of them empty.")
    return texts


def _whole(table: Table, key: str, within: tuple[int, int]) -> int:
    value: int = table.take(key, int)
    if not within[0] <= value <= within[1]:
        raise table.fail(f"{key!r} is {value}; it must lie between {within[0]} and {within[1]}.")
    return value
