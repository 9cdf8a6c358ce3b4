"""The shop's sound library behind one object."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from sqlalchemy import select, update

from listen.errors import LibraryError
from listen.library import adding, deletion, opinions
from listen.library import clips as c
from listen.library import tables as t
from listen.library.backup import BackedUp, back_up
from listen.library.baseline import Baseline, Comparison, compare
from listen.library.conflicts import Conflict, conflicts
from listen.library.engine import Database
from listen.library.intake import Intake
from listen.library.labels import Labels, named
from listen.library.machines import Machines, machine_of
from listen.library.models import Models
from listen.library.observing import Observer
from listen.library.outcomes import Outcomes
from listen.library.pictures import Pictures
from listen.library.place import Place, find_place
from listen.library.records import Checked, ClipRecord, Deletion, OpinionRecord, SimilarClip, Twin
from listen.library.remeasure import remeasure
from listen.library.schema import prepare
from listen.library.similar import RowCache, similar
from listen.library.teach import Lesson, next_to_label
from listen.library.trend import Trend
from listen.library.twins import twins
from listen.library.values import clean, moment, now
from listen.library.vault import disk_errors, open_vault
from listen.library.verify import tidy, verify
from listen.types import Report, StoryMark

if TYPE_CHECKING:
    from listen.decode import DecodeWorker


def open_library(
    where: str | os.PathLike[str] | None = None, *, vault: str | None = None, create: bool = True
) -> Library:
    """Open the shop's library, making it when it is not there yet.

    Parameters
    ----------
    where : str, path or None
        A folder, or `postgresql://USER@HOST/DATABASE`. None: the environment's LISTEN_LIBRARY,
        else this user's data folder.
    vault : str, optional
        Folder or fsspec URL for the audio; needed with PostgreSQL (or LISTEN_VAULT).
    create : bool
        False: a library that is not there is an error.

    Returns
    -------
    Library
        To be closed, or used in a `with` block. Threads may share it.

    Raises
    ------
    LibraryError
        It cannot be reached, is another program's, or was made by a newer version.
    """
    place = find_place(where, vault)
    if create or not place.embedded:
        with disk_errors("The library's folder"):
            place.home.mkdir(parents=True, exist_ok=True, mode=0o700)
    elif not Path(place.url.removeprefix("sqlite:///")).is_file():
        raise LibraryError(
            f"There is no library at {place.shown}: name the right place, or add a first clip."
        )
    database = Database(place)
    try:
        prepare(database, create=create)
        library = Library(place, database)
        deletion.finish_removals(database, library.vault)
        # What cannot be unpacked is for `verify` to tell, not a reason to stay shut.
        with contextlib.suppress(LibraryError):
            library.models.refresh_pointer()
    except BaseException:
        database.close()
        raise
    return library


class Library:
    """A shop's recordings, what people say of them, and what can be learnt from them.

    Made by :func:`open_library`. What a method returns from has been stored: it outlives a kill or a
    power cut.

    Attributes
    ----------
    place : Place
        Where it lies; `place.shown` in words.
    machines : Machines
        `add`, `get`, `all`, `change`, `profile`.
    labels : Labels
        `add`, `correct`, `withdraw`, `of(clip, history=…)`.
    outcomes : Outcomes
        `add`, `of(clip=…, machine=…)`.
    intake : Intake
        `add`, `get`, `queue`, `set_status`, `answer`, `read_file`, `refuse_file`.
    pictures : Pictures
        `add`, `of(clip)`, `read`.
    models : Models
        `add`, `all`, `current`, `current_folder`, `promote`, `roll_back`.
    """

    def __init__(self, place: Place, database: Database) -> None:
        self.place = place
        self.database = database
        self.vault = open_vault(place.vault, place.home)
        self.machines = Machines(database)
        self.labels = Labels(database)
        self.outcomes = Outcomes(database)
        self.intake = Intake(database, self.vault)
        self.pictures = Pictures(database, self.vault)
        self.models = Models(database, self.vault, place.home)
        self._observer = Observer(database, self.machines)
        self._rows = RowCache()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the database; more than once does no harm."""
        self.database.close()

    # Clips -------------------------------------------------------------------------------------

    def add_clip(
        self, source: str | os.PathLike[str] | bytes, *, machine: str | None = None, name: str | None = None,
        story: Iterable[StoryMark | Sequence[Any]] = (), gauges: Mapping[str, float] | None = None, said: str = "",
        answers: Mapping[str, str] | None = None, capture: Mapping[str, Any] | None = None,
        recorded_at: str | datetime | None = None, by: str = "", consent: str = "shop", consent_by: str = "",
        keep_until: str | date | None = None, ticket: str = "", before_clip: str | None = None, came_from: str = "shop",
        origin_sha256: str | None = None, report: Report | None = None, worker: DecodeWorker | None = None,
        again: bool = False,
    ) -> ClipRecord:  # fmt: skip
        """Store a recording with what is told about it.

        The original bytes stay as they are (they may hold the place of recording: say so when asking
        for consent); beside them a FLAC for playing and the ear's measurements are kept. The same
        bytes again give the clip that is there, with `was_known` set and nothing changed.

        Parameters
        ----------
        source : path or bytes
        machine : str, optional
            Short name of a machine of this library; None where no machine is heard.
        name : str, optional
            Name to show.
        story : sequence of StoryMark or (seconds, word)
        gauges : mapping
            Readings in bar: `boiler`, `brew`, `line`.
        said : str
        answers : mapping
            First-minute answers.
        capture : mapping
            How it was recorded: `phone`, `place` (where the phone lay), and settings as the browser
            told them. Texts, numbers, yes or no.
        recorded_at : str or datetime, optional
        by : str
            Who adds it.
        consent : {"shop", "learn", "share"}
            What the owner agreed to; `shop`: kept for the work on this machine only.
        consent_by : str
            Who gave the consent; `by` when missing.
        keep_until : str or date, optional
        ticket : str
            Number of the job.
        before_clip : str, optional
            The clip from before the repair whose result this one shows.
        came_from : {"shop", "customer", "folder", "exchange"}
        origin_sha256 : str, optional
            Of the first recording, where this is a copy from an exchange.
        report : Report, optional
            The tool's opinion, from :func:`listen.hear` on the same bytes.
        worker : DecodeWorker, optional
        again : bool
            Take in a recording that was deleted on request: only with new consent.

        Raises
        ------
        UnreadableClip, UnusableClip
            It cannot be decoded. Nothing is stored.
        LibraryError
            Something told is not right, no such machine, deleted on request, or the disk is full.
        """
        told = adding.Told(
            machine, story, gauges, said, answers, capture, recorded_at, by, consent, consent_by, keep_until, ticket,
            before_clip, came_from, origin_sha256,
        )  # fmt: skip
        record = adding.add_clip(
            self.database, self.vault, source, told, name=name, worker=worker, again=again
        )
        if report is not None:
            self.add_opinion(record.sha256, report)
        return record

    def clip(self, id: str) -> ClipRecord:
        """Return a clip by its hash, or by at least six signs of its beginning."""
        with self.database.reading() as connection:
            return c.record(c.find(connection, id))

    def clips(
        self, *, machine: str | None = None, fold: str | None = None, good: bool | None = None,
        complete: bool | None = None, search: str = "", limit: int | None = None,
    ) -> tuple[ClipRecord, ...]:  # fmt: skip
        """Return clips, the latest recording first; `search`: words in name, words said, ticket or machine."""
        with self.database.reading() as connection:
            return c.listed(
                connection,
                machine=machine,
                fold=fold,
                good=good,
                complete=complete,
                search=search,
                limit=limit,
            )

    def original(self, id: str) -> bytes:
        """Return a clip's original bytes. They may hold the place of recording: never pass them on."""
        return self.vault.read(self.clip(id).sha256)

    def playable(self, id: str) -> Path:
        """Return the FLAC file of a clip, for playing: mono, without any metadata of the original."""
        return self.vault.local(self.clip(id).flac_sha256)

    def change_clip(
        self, id: str, *, machine: str | None = None, story: Iterable[StoryMark | Sequence[Any]] | None = None,
        gauges: Mapping[str, float] | None = None, said: str | None = None, answers: Mapping[str, str] | None = None,
        capture: Mapping[str, Any] | None = None, recorded_at: str | datetime | None = None, consent: str | None = None,
        consent_by: str | None = None, keep_until: str | date | None = None, ticket: str | None = None,
        before_clip: str | None = None,
    ) -> ClipRecord:  # fmt: skip
        """Change what is told about a clip; what is left out stays. Another machine brings its fold with it."""
        values: dict[str, Any] = {}
        if story is not None:
            values["story"] = c.story_values(story)
        if gauges is not None:
            values["gauges"] = c.gauge_values(gauges)
        if answers is not None:
            values["answers"] = c.word_values(answers, "The answers")
        if capture is not None:
            values["capture"] = c.word_values(capture, "How it was recorded")
        if recorded_at is not None:
            values["recorded_at"] = moment(recorded_at, "recorded")
        if consent is not None:
            values |= {"consent": c.consent_value(consent), "consent_by": named(consent_by or "")}
        if keep_until is not None:
            values["keep_until"] = c.day_value(keep_until)
        values |= {k: clean(v) for k, v in (("said", said), ("ticket", ticket)) if v is not None}
        with self.database.writing() as connection:
            row = c.find(connection, id)
            if machine is not None:
                fold = machine_of(connection, machine).fold
                # Once kept for tests, always kept for tests: it may have been measured on.
                values |= {"machine": machine, "fold": "test" if row.fold == "test" else fold}
            if before_clip is not None:
                values["before_clip"] = c.find(connection, before_clip).sha256
            if values:
                connection.execute(update(t.clips).where(t.clips.c.sha256 == row.sha256).values(**values))
        return self.clip(row.sha256)

    def mark_good(self, id: str, *, by: str, good: bool = True) -> ClipRecord:
        """Call a clip known-good: its machine was found in good order when it was recorded. Or take that back."""
        return self._mark(id, "good", by, good)

    def mark_complete(self, id: str, *, by: str, complete: bool = True) -> ClipRecord:
        """Say that a clip's labels name every sound in it: only then may the ear learn from it. Or take that back."""
        return self._mark(id, "complete", by, complete)

    def _mark(self, id: str, what: str, by: str, yes: bool) -> ClipRecord:
        who = named(by)
        values = {f"{what}_by": who if yes else None, f"{what}_at": now() if yes else None}
        with self.database.writing() as connection:
            sha256 = c.find(connection, id).sha256
            connection.execute(update(t.clips).where(t.clips.c.sha256 == sha256).values(**values))
        return self.clip(sha256)

    def delete(self, *ids: str, by: str, why: str) -> Deletion:
        """Delete clips on request: audio, measurements, labels and opinions go, a tombstone stays."""
        return deletion.delete_clips(self.database, self.vault, list(ids), by=by, why=why)

    def expired(self, today: str | None = None) -> tuple[ClipRecord, ...]:
        """Return the clips whose time to be kept is over."""
        with self.database.reading() as connection:
            hashes = deletion.expired(connection, today)
            rows = connection.execute(select(t.clips).where(t.clips.c.sha256.in_(hashes)))
            return tuple(c.record(row) for row in rows)

    # The tool's opinion ------------------------------------------------------------------------

    def add_opinion(self, id: str, report: Report | Mapping[str, Any]) -> OpinionRecord:
        """Keep what the tool said of a clip, as a report or its JSON form."""
        return opinions.add_opinion(self.database, id, report)

    def opinions(self, id: str) -> tuple[OpinionRecord, ...]:
        """Return all that the tool ever said of a clip, the latest first."""
        return opinions.opinions_of(self.database, id)

    # What the clips tell together --------------------------------------------------------------

    def states(self, id: str) -> tuple[str, ...]:
        """Return the states that a person says a clip shows."""
        return self._observer.states(self.clip(id))

    def baseline(self, machine: str, state: str, *, without: str | None = None) -> Baseline:
        """Return what a machine's known-good clips show in one state.

        Parameters
        ----------
        machine : str
        state : str
            A word of :data:`listen.vocabulary.STATES`; only spans that a person gave count.
        without : str, optional
            A clip to leave out: the one that is to be compared.
        """
        return self._observer.baseline(machine, state, without=without)

    def trends(self, machine: str, *, limit: int = 60) -> tuple[Trend, ...]:
        """Return how a machine's measures went over its latest clips, what lies farthest off first."""
        return self._observer.trends(machine, limit=limit)

    def compare(self, id: str, state: str, *, with_clip: str | None = None) -> Comparison:
        """Set a clip beside its machine's baseline, or beside one other clip (before and after a repair).

        It sharpens and never excuses: nothing here lowers a level or clears a finding.
        """
        clip = self.clip(id)
        if clip.machine is None:
            raise LibraryError("This clip belongs to no machine: say which one, then compare.")
        if with_clip is not None:
            good = self._observer.beside(clip.machine, state, self.clip(with_clip))
        else:
            good = self.baseline(clip.machine, state, without=clip.sha256)
        return compare(good, self._observer.observe(clip, state))

    def similar(
        self, id: str, *, k: int = 5, judging: bool = True, with_outcome: bool = False
    ) -> tuple[SimilarClip, ...]:
        """Return past clips that sound alike, the nearest first, each with its outcome where there is one.

        Parameters
        ----------
        id : str
        k : int
            How many at most.
        judging : bool
            Leave out clips of the same machine: they would only say what this machine is. False for
            looking through one machine's past.
        with_outcome : bool
            Only clips whose outcome was confirmed.
        """
        return similar(self.database, self._rows, id, k=k, judging=judging, with_outcome=with_outcome)

    def twins(self, id: str) -> tuple[Twin, ...]:
        """Return clips that hold the same recording: sent again, encoded again, or cut."""
        return twins(self.database, self._rows, id)

    def next_to_label(self, n: int = 10) -> tuple[Lesson, ...]:
        """Return the clips whose labels would teach the ear most, with the reason and the ear's proposals."""
        return next_to_label(self.database, self._rows, n)

    def conflicts(self, id: str | None = None) -> tuple[Conflict, ...]:
        """Return statements that cannot all be true, of one clip or of all."""
        return conflicts(self.database, self.clip(id).sha256 if id is not None else None)

    # Keeping it whole --------------------------------------------------------------------------

    def verify(self, echo: Callable[[str], object] | None = None) -> Checked:
        """Hash every file again and hold tables and vault against each other; changes nothing."""
        return verify(self.database, self.vault, self.models, echo)

    def tidy(self, found: Checked) -> int:
        """Remove the leftovers of kills that `verify` found; return how many went."""
        return tidy(self.database, self.vault, found)

    def backup(self, path: str | os.PathLike[str], echo: Callable[[str], object] | None = None) -> BackedUp:
        """Write the whole library into one file; see :mod:`listen.library.restore` for the way back."""
        return back_up(self.database, self.vault, Path(path), echo)

    def measure_again(
        self, *, worker: DecodeWorker | None = None, echo: Callable[[str], object] | None = None
    ) -> tuple[int, tuple[str, ...]]:
        """Measure clips again that an older version measured; return how many, and which could not be and why."""
        return remeasure(self.database, self.vault, worker=worker, echo=echo)
