"""Hear what customers sent: one message after another, in the background, each whole or again."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from listen.bench import customer_message
from listen.bench.ladder import worst
from listen.bench.machine import Machine, unknown_machine
from listen.crew.jobs import Task
from listen.crew.pool import MESSAGE
from listen.errors import ListenError
from listen.intake.alarm import alarm
from listen.intake.pictures import redrawn
from listen.library.pointer import shop_model
from listen.pipeline import hear
from listen.types import Report

if TYPE_CHECKING:
    from listen.crew import Crew
    from listen.decode import DecodeWorker
    from listen.library import Library
    from listen.library.records import IntakeRecord

_log = logging.getLogger(__name__)


def machine_of(library: Library, record: IntakeRecord) -> Machine:
    """Return the profile of a message's machine, the unknown machine where none is named or left."""
    if record.machine is None:
        return unknown_machine()
    try:
        return library.machines.profile(record.machine)
    except ListenError:
        return unknown_machine()


def hear_message(
    library: Library, record: IntakeRecord, *, worker: DecodeWorker | None = None, crew: Crew | None = None
) -> IntakeRecord:
    """Hear every clip of a message, keep clips and reports in the library, and draft an answer.

    A file that cannot be used is noted with its sentence; the others are still
    heard. Hearing the same message again changes nothing but the draft.
    """
    machine = machine_of(library, record)
    told = alarm(record.answers, said=record.said, machine=machine)
    reports = []
    for file in record.files:
        data = library.intake.read_file(file)
        try:
            if file.kind == "picture":
                redrawn(data)
                continue
            report = _hear(data, file.name, machine, record, worker, crew)
            library.add_clip(
                data, machine=record.machine, name=file.name, gauges=record.gauges, said=record.said,
                answers=record.answers, by=f"message {record.receipt}", consent=record.consent,
                consent_by=record.sender or f"message {record.receipt}", ticket=record.receipt, came_from="customer",
                report=report, worker=worker,
            )  # fmt: skip
        except ListenError as error:
            library.intake.refuse_file(file, str(error))
            continue
        reports.append(report)
    levels = [report.level for report in reports]
    known = [level for level in (told.level, record.level, *levels) if level]
    most = next((report for report in reports if report.level == worst(levels)), None)
    draft = customer_message(most) if most is not None else told.say_first
    return library.intake.set_status(
        record.receipt, "heard", level=worst(known) if known else "", draft=draft
    )


def _hear(
    data: bytes, name: str, machine: Machine, record: IntakeRecord, worker: DecodeWorker | None, crew: Crew | None
) -> Report:  # fmt: skip
    """Hear a clip in a process of the crew, or here where there is none."""
    if crew is not None:
        task = Task(
            name, machine, said=record.said, answers=record.answers, gauges=record.gauges, model_folder=shop_model(), draw=False
        )  # fmt: skip
        return crew.hear(data, task, rank=MESSAGE)[0]
    return hear(
        data, name=name, machine=machine, said=record.said, answers=record.answers, gauges=record.gauges, worker=worker,
        model_folder=shop_model(),
    )  # fmt: skip


class Listener:
    """One background thread that hears new messages as they come, and those left from before."""

    def __init__(
        self,
        library: Callable[[], Library],
        *,
        worker: DecodeWorker | None = None,
        crew: Crew | None = None,
        every_s: float = 20.0,
    ) -> None:
        self._library, self._worker, self._crew, self._every_s = library, worker, crew, every_s
        self._news = threading.Event()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="intake", daemon=True)
        self._failed: set[str] = set()

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def wake(self) -> None:
        """Tell that a message has come."""
        self._news.set()

    def stop(self) -> None:
        """End after the message that is being heard."""
        self._end.set()
        self._news.set()
        if self._thread.is_alive():
            self._thread.join(timeout=30.0)

    def _run(self) -> None:
        while not self._end.is_set():
            self._news.clear()
            try:
                for record in self._library().intake.queue(status="new"):
                    if self._end.is_set():
                        return
                    if record.receipt not in self._failed:
                        self._hear(record)
            except ListenError:
                _log.exception("The queue of messages cannot be read")
            self._news.wait(self._every_s)

    def _hear(self, record: IntakeRecord) -> None:
        try:
            hear_message(self._library(), record, worker=self._worker, crew=self._crew)
        except Exception:
            # Whatever one message does, the next ones are still heard; it stays `new` for the technician.
            self._failed.add(record.receipt)
            _log.exception("Message %s could not be heard", record.receipt)
