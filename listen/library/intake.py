"""What customers send: stored at once under a receipt number, then heard, then answered.

Conventions
-----------
Files are kept as they came, before anybody tries to decode them: a receipt
number means that the bytes are safe. Hearing them is a second step, which turns
an audio file into a clip of the library or notes why it cannot be used.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, case, insert, select, update
from sqlalchemy.engine import Row

from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.clips import consent_value, gauge_values, word_values
from listen.library.engine import Database
from listen.library.labels import named
from listen.library.machines import machine_of
from listen.library.records import FILE_KINDS, INTAKE_STATES, IntakeFile, IntakeRecord
from listen.library.values import clean, from_json, now
from listen.library.vault import Vault, stage
from listen.types import LEVELS

#: No letters that are mistaken for each other when read over the telephone.
_SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


class Intake:
    """The queue of what customers sent to one library."""

    def __init__(self, database: Database, vault: Vault) -> None:
        self._database, self._vault = database, vault

    def add(
        self, *, machine: str | None = None, sender: str = "", contact: str = "", said: str = "",
        answers: Mapping[str, str] | None = None, gauges: Mapping[str, float] | None = None, consent: str = "shop",
        link: str = "", level: str = "", files: tuple[tuple[str, bytes, str], ...] = (),
    ) -> IntakeRecord:  # fmt: skip
        """Store what a customer sends, with its files, whole or not at all.

        Parameters
        ----------
        machine : str, optional
            Short name of the machine that the link was made for.
        sender, contact, said : str
            Name, where to answer, and what they say.
        answers : mapping
            First-minute questions to yes, no or unknown.
        gauges : mapping
            Readings in bar.
        consent : str
            One of :data:`listen.library.records.CONSENTS`.
        link : str
            Hash of the link's token; never the token itself.
        level : str
            Level that the answers alone call for, or empty.
        files : tuple of (name, bytes, kind)
            Kind `audio` or `picture`.

        Returns
        -------
        IntakeRecord
            `receipt` is the number to give to the customer (six signs, no two alike to the ear or eye).
        """
        values: dict[str, Any] = {
            "created_at": now(), "machine": machine, "status": "new", "level": _level(level),
            "sender": clean(sender, longest=120), "contact": clean(contact, longest=200), "said": clean(said),
            "answers": word_values(answers, "The answers"), "gauges": gauge_values(gauges), "consent": consent_value(consent),
            "link": clean(link, longest=64), "draft": "", "answer": "",
        }  # fmt: skip
        staged = []
        try:
            for name, data, kind in files:
                if kind not in FILE_KINDS:
                    raise LibraryError(
                        f"A file sent in is one of {', '.join(FILE_KINDS)}, not {str(kind)[:20]!r}."
                    )
                staged.append(
                    (
                        stage(self._vault.incoming, [data], clean(name, longest=80)),
                        clean(name, longest=120),
                        kind,
                    )
                )
            with self._database.writing() as connection:
                if machine is not None:
                    machine_of(connection, machine)
                values["receipt"] = receipt = _free_receipt(connection)
                connection.execute(insert(t.intakes), values)
                for file, name, kind in staged:
                    self._vault.keep(file)
                    _clear_removal(connection, file.sha256)
                    row = {
                        "receipt": receipt, "sha256": file.sha256, "size_bytes": file.size_bytes, "name": name or kind,
                        "kind": kind, "added_at": now(), "refused": "",
                    }  # fmt: skip
                    connection.execute(insert(t.intake_files), row)
        finally:
            for file, _, _ in staged:
                file.path.unlink(missing_ok=True)
        return self.get(receipt)

    def get(self, receipt: str) -> IntakeRecord:
        """Return one message by its receipt number; small letters and blanks do not matter."""
        with self._database.reading() as connection:
            row = _find(connection, receipt)
            return _with_files(connection, [row])[0]

    def queue(
        self, *, status: str | None = None, machine: str | None = None, search: str = "", limit: int = 200
    ) -> tuple[IntakeRecord, ...]:
        """Return messages, stops first, then unanswered before answered, then the oldest first.

        Parameters
        ----------
        status : str, optional
            One of INTAKE_STATES.
        search : str
            Words that must all be in sender, contact, words, answer, machine or receipt.
        """
        c = t.intakes.c
        urgency = case(
            {level: len(LEVELS) - n for n, level in enumerate(LEVELS)}, value=c.level, else_=len(LEVELS)
        )
        answered = case((c.status == "answered", 1), else_=0)
        query = select(t.intakes).order_by(answered, urgency, c.created_at, c.receipt)
        if status is not None:
            query = query.where(c.status == _status(status))
        if machine is not None:
            query = query.where(c.machine == machine)
        words = search.casefold().split()[:8]
        with self._database.reading() as connection:
            rows = [row for row in connection.execute(query) if _has(row, words)]
            return _with_files(connection, rows[:limit])

    def read_file(self, file: IntakeFile) -> bytes:
        """Return the bytes of a file as they came."""
        return self._vault.read(file.sha256)

    def set_status(
        self, receipt: str, status: str, *, level: str | None = None, draft: str | None = None
    ) -> IntakeRecord:
        """Move a message on: `heard` with the level found and a drafted answer, or `waiting` for the customer."""
        if status == "answered":
            raise LibraryError("A message is answered with its answer and who gives it: use `answer`.")
        values: dict[str, Any] = {"status": _status(status)}
        if level is not None:
            values["level"] = _level(level)
        if draft is not None:
            values["draft"] = clean(draft)
        return self._change(receipt, values)

    def answer(self, receipt: str, text: str, *, by: str) -> IntakeRecord:
        """Keep the answer as it was sent, and who gave it."""
        if not clean(text):
            raise LibraryError("An answer without words answers nothing: write one.")
        return self._change(
            receipt,
            {"status": "answered", "answer": clean(text), "answered_by": named(by), "answered_at": now()},
        )

    def set_machine(self, receipt: str, machine: str) -> IntakeRecord:
        """Say which machine a message is about."""
        with self._database.reading() as connection:
            machine_of(connection, machine)
        return self._change(receipt, {"machine": machine})

    def refuse_file(self, file: IntakeFile, why: str) -> None:
        """Note in one sentence why a file cannot be used."""
        with self._database.writing() as connection:
            connection.execute(
                update(t.intake_files).where(t.intake_files.c.id == file.id).values(refused=clean(why))
            )

    def _change(self, receipt: str, values: dict[str, Any]) -> IntakeRecord:
        with self._database.writing() as connection:
            row = _find(connection, receipt)
            connection.execute(update(t.intakes).where(t.intakes.c.receipt == row.receipt).values(**values))
        return self.get(row.receipt)


def _find(connection: Connection, receipt: str) -> Row:
    wanted = "".join(receipt.upper().split()).replace("-", "")
    row = connection.execute(select(t.intakes).where(t.intakes.c.receipt == wanted)).one_or_none()
    if row is None:
        raise LibraryError(f"There is no message with the receipt number {wanted[:16]!r}.")
    return row


def _with_files(connection: Connection, rows: list[Row]) -> tuple[IntakeRecord, ...]:
    f = t.intake_files
    files: dict[str, list[IntakeFile]] = {row.receipt: [] for row in rows}
    for row in connection.execute(select(f).where(f.c.receipt.in_(list(files))).order_by(f.c.id)):
        files[row.receipt].append(
            IntakeFile(
                row.id, row.receipt, row.sha256, row.size_bytes, row.name, row.kind, row.added_at, row.refused
            )
        )
    return tuple(replace(_record(row), files=tuple(files[row.receipt])) for row in rows)


def _has(row: Row, words: list[str]) -> bool:
    text = " ".join(
        (row.receipt, row.machine or "", row.sender, row.contact, row.said, row.answer)
    ).casefold()
    return all(word in text for word in words)


def _free_receipt(connection: Connection) -> str:
    while True:
        receipt = "".join(secrets.choice(_SIGNS) for _ in range(6))
        if connection.scalar(select(t.intakes.c.receipt).where(t.intakes.c.receipt == receipt)) is None:
            return receipt


def _clear_removal(connection: Connection, sha256: str) -> None:
    connection.execute(t.removals.delete().where(t.removals.c.sha256 == sha256))


def _status(status: str) -> str:
    if status not in INTAKE_STATES:
        raise LibraryError(f"A message is one of {', '.join(INTAKE_STATES)}, not {str(status)[:20]!r}.")
    return status


def _level(level: str) -> str:
    if level and level not in LEVELS:
        raise LibraryError(f"A level is one of {', '.join(LEVELS)}, not {str(level)[:20]!r}.")
    return level


def _record(row: Row) -> IntakeRecord:
    return IntakeRecord(
        row.receipt, row.created_at, row.machine, row.status, row.level, row.sender, row.contact, row.said,
        from_json(row.answers, {}), from_json(row.gauges, {}), row.consent, row.link, row.draft, row.answer, row.answered_by,
        row.answered_at,
    )  # fmt: skip
