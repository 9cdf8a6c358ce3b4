"""A small crew of hearing processes: as many as processors, warm, replaced when old, hung or dead.

A verdict comes before a customer's message, and that before a player: with
many phones at once, nobody's sound for playing delays another's level. When a
process dies over a clip, the clip is heard once more by a fresh one; when that
dies too, a sentence says so. A clip is answered once, or not at all.
"""

from __future__ import annotations

import itertools
import logging
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Self

from listen import errors
from listen.crew.jobs import Task
from listen.crew.member import Died, Member
from listen.crew.wire import Broken, pack, unpack
from listen.errors import ListenError, UnusableClip
from listen.types import Report

#: Order of service.
NOW, MESSAGE, PLAYER = 0, 1, 2
#: A process that gives no answer so long has hung: some seconds in any case, and more the larger the clip
#: (a MB of speech-coded sound is a quarter of an hour, heard in about 4 s on an idle machine).
_PATIENCE_S, _PATIENCE_S_PER_MB, _MOST_PATIENCE_S = 45.0, 20.0, 1800.0
_TWICE = (
    "{name} could not be heard: the process that hears it {how} twice. Send it as a WAV file, or record again "
    "and shorter; other clips are not touched by this."
)
_OURS = "{name} could not be heard: the tool itself failed on it. Send it as a WAV file, or record again."
_HOW = {"hung": "did not come to an end", "ended": "broke off"}

_log = logging.getLogger(__name__)


class Crew:
    """Hearing processes, shared by all threads of a server.

    Parameters
    ----------
    size : int, optional
        How many clips are heard at once; the number of processors where not given.
    recycle_after : int
        A process is replaced after so many jobs.
    patience_s : float
        After so many seconds (and more for a large clip) a job counts as hung.

    Examples
    --------
    >>> with Crew() as crew:  # doctest: +SKIP
    ...     report, png = crew.hear(data, Task("clip.m4a"))
    """

    def __init__(
        self, size: int | None = None, *, recycle_after: int = 300, patience_s: float = _PATIENCE_S
    ) -> None:
        self._size = size or max(os.cpu_count() or 1, 1)
        self._recycle_after, self._patience_s = recycle_after, patience_s
        self._idle: list[Member] = []
        self._n_out = 0
        self._queue: list[tuple[int, int]] = []
        self._numbers = itertools.count()
        self._turn = threading.Condition()
        self._closed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    @property
    def size(self) -> int:
        """How many clips are heard at once."""
        return self._size

    def warm(self) -> None:
        """Start every process, so that the first clip finds it loaded; what fails here fails again later."""
        started = []
        for _ in range(self._size):
            try:
                member = Member()
                started.append(member)
                member.ask({"job": "warm_up"}, b"", self._patience_s)
            except (Died, ListenError):
                _log.warning("A hearing process did not come up")
        with self._turn:
            room = max(self._size - self._n_out - len(self._idle), 0) if not self._closed else 0
            fit = [member for member in started if member.alive()][:room]
            self._idle += fit
        for member in started:
            if member not in fit:
                member.end()

    def hear(self, data: bytes, task: Task, *, rank: int = NOW) -> tuple[Report, bytes]:
        """Hear a clip.

        Parameters
        ----------
        data : bytes
        task : Task
        rank : int
            NOW for a person who waits, MESSAGE for what came by message.

        Returns
        -------
        report : Report
        png : bytes
            The picture, empty where the task asks for none.

        Raises
        ------
        ListenError
            The clip cannot be used, in the words of :func:`listen.pipeline.hear`; or two processes died over it.
        """
        head, blobs = self._ask({"job": "hear", "task": pack(task)}, data, task.name, rank)
        try:
            return unpack(Report, head["report"]), blobs[0] if blobs else b""
        except (Broken, KeyError) as error:
            raise UnusableClip(_OURS.format(name=task.name)) from error

    def play(self, data: bytes, name: str, duration_s: float, *, higher: bool) -> tuple[bytes, bytes]:
        """Return a clip as WAV for a player, and the same with low hums raised; empty where too long for that.

        Raises
        ------
        ListenError
            The clip cannot be decoded.
        """
        job = {"job": "play", "name": name, "duration_s": duration_s, "higher": higher}
        _, blobs = self._ask(job, data, name, PLAYER)
        return blobs[0], blobs[1]

    def close(self) -> None:
        """End the idle processes; busy ones end with their clip."""
        with self._turn:
            self._closed = True
            idle, self._idle = self._idle, []
        for member in idle:
            member.end()

    # ---------------------------------------------------------------------------------------------

    def _ask(
        self, head: dict[str, Any], data: bytes, name: str, rank: int
    ) -> tuple[dict[str, Any], list[bytes]]:
        within_s = min(self._patience_s + _PATIENCE_S_PER_MB * len(data) / 1e6, _MOST_PATIENCE_S)
        for attempt in (1, 2):
            try:
                with self._member(rank, fresh=attempt > 1) as member:
                    answer, blobs = member.ask(head, data, within_s)
                break
            except Died as died:
                _log.warning("A hearing process %s over a clip (attempt %d)", died.how, attempt)
                if attempt == 2:
                    raise UnusableClip(_TWICE.format(name=name, how=_HOW[died.how])) from died
        if "error" not in answer:
            return answer, blobs
        if answer["error"]:
            raise _kind(str(answer["error"]))(answer.get("sentence", ""))
        _log.error("A clip could not be heard:\n%s", answer.get("trace", ""))
        raise UnusableClip(_OURS.format(name=name))

    @contextmanager
    def _member(self, rank: int, *, fresh: bool) -> Iterator[Member]:
        """Wait for a turn, lend a living process, take it back."""
        me = (rank, next(self._numbers))
        with self._turn:
            self._queue.append(me)
            self._turn.wait_for(lambda: self._n_out < self._size and min(self._queue) == me)
            self._queue.remove(me)
            self._n_out += 1
            member = self._idle.pop() if self._idle and not fresh else None
            # The next in the queue may find a free place too.
            self._turn.notify_all()
        try:
            if member is not None and not member.alive():
                member.end()
                member = None
            member = member or Member()
            yield member
        finally:
            self._give_back(member)

    def _give_back(self, member: Member | None) -> None:
        with self._turn:
            self._n_out -= 1
            keep = (
                member is not None
                and member.alive()
                and member.served < self._recycle_after
                and len(self._idle) + self._n_out < self._size
                and not self._closed
            )
            if keep and member is not None:
                self._idle.append(member)
            self._turn.notify_all()
        if member is not None and not keep:
            member.end()


def _kind(name: str) -> type[ListenError]:
    kind = getattr(errors, name, None)
    return kind if isinstance(kind, type) and issubclass(kind, ListenError) else ListenError
