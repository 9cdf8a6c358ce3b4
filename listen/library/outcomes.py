"""Confirmed outcomes: what the repair showed. They outrank a label, and never silently teach."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, insert, or_, select
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.clips import find
from listen.library.engine import Database
from listen.library.labels import named
from listen.library.machines import machine_of
from listen.library.records import OUTCOME_STATES, OutcomeRecord
from listen.library.values import clean, now


class Outcomes:
    """The confirmed outcomes of one library; a later one for the same clip or job stands before an earlier."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self, *, by: str, clip: str | None = None, machine: str | None = None, part: str = "", cause: str = "",
        evidence: str = "", state: str = "resolved", ticket: str = "",
    ) -> OutcomeRecord:  # fmt: skip
        """Record what was confirmed.

        Parameters
        ----------
        by : str
            Who confirms it.
        clip, machine : str, optional
            What it is about; of a clip the machine follows.
        part, cause, evidence : str
            What was at fault, why, and what shows it (a reading, a photo's place, a part in hand).
        state : str
            One of OUTCOME_STATES. `resolved` needs part or cause.

        Raises
        ------
        LibraryError
            Nothing it is about, nothing confirmed, or nobody named.
        """
        if state not in OUTCOME_STATES:
            raise LibraryError(f"An outcome is one of {', '.join(OUTCOME_STATES)}, not {str(state)[:30]!r}.")
        if clip is None and machine is None:
            raise LibraryError("An outcome is about a clip or a machine: name one.")
        if state == "resolved" and not (clean(part) or clean(cause)):
            raise LibraryError("A resolved outcome names the part or the cause that was confirmed.")
        with self._database.writing() as connection:
            row = find(connection, clip) if clip is not None else None
            about = machine if machine is not None else (row.machine if row is not None else None)
            if about is not None:
                machine_of(connection, about)
            if row is not None and row.machine is not None and about != row.machine:
                raise LibraryError(
                    f"The clip is of machine {row.machine!r}, not of {about!r}: correct one of the two."
                )
            values = {
                "machine": about, "clip": row.sha256 if row is not None else None, "state": state, "part": clean(part),
                "cause": clean(cause), "evidence": clean(evidence), "confirmed_by": named(by), "confirmed_at": now(),
                "ticket": clean(ticket, longest=80),
            }  # fmt: skip
            return outcome_record(connection.execute(insert(t.outcomes).returning(t.outcomes), values).one())

    def of(self, *, clip: str | None = None, machine: str | None = None) -> tuple[OutcomeRecord, ...]:
        """Return outcomes of a clip or of a machine (all of them when neither is named), the latest first."""
        with self._database.reading() as connection:
            query = select(t.outcomes).order_by(t.outcomes.c.confirmed_at.desc(), t.outcomes.c.id.desc())
            if clip is not None:
                query = query.where(t.outcomes.c.clip == find(connection, clip).sha256)
            if machine is not None:
                query = query.where(t.outcomes.c.machine == machine)
            return tuple(outcome_record(row) for row in connection.execute(query))


def latest(connection: Connection, clips: Sequence[str] | None = None) -> dict[str, OutcomeRecord]:
    """Return the outcome that stands for each clip that has one: its own, else of the same job (ticket).

    Parameters
    ----------
    clips : sequence of str, optional
        A few hashes; None for all clips.
    """
    c, k = t.outcomes.c, t.clips.c
    about = k.sha256.label("about")
    own = select(about, t.outcomes).join(t.clips, c.clip == k.sha256)
    same_job = (
        select(about, t.outcomes)
        .join(t.clips, (c.ticket == k.ticket) & (c.machine == k.machine))
        .where(k.ticket != "", or_(c.clip.is_(None), c.clip != k.sha256))
    )
    found: dict[str, OutcomeRecord] = {}
    for query in (same_job, own):
        if clips is not None:
            query = query.where(k.sha256.in_(clips))
        for row in connection.execute(query.order_by(c.confirmed_at, c.id)):
            found[row.about] = outcome_record(row)
    return found


def outcome_record(row: Row) -> OutcomeRecord:
    """Turn a row of `outcomes` into a record."""
    return OutcomeRecord(
        row.id, row.machine, row.clip, row.state, row.part, row.cause, row.evidence, row.confirmed_by, row.confirmed_at,
        row.ticket,
    )  # fmt: skip
