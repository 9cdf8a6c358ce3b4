"""Fetch what baselines are made of: known-good clips of a machine, their traces and the tool's reports."""

from __future__ import annotations

from contextlib import suppress

from sqlalchemy import select

from listen.errors import LibraryError
from listen.library import clips as c
from listen.library import tables as t
from listen.library.baseline import Baseline
from listen.library.engine import Database
from listen.library.machines import Machines
from listen.library.measure import NAMES_SHA256, unpack_traces
from listen.library.observed import Observed, observe, spans_of, states_of
from listen.library.opinions import latest_opinions
from listen.library.outcomes import latest
from listen.library.records import ClipRecord
from listen.library.trend import Trend, trends
from listen.vocabulary import STATES


class Observer:
    """Turns clips of one library into :class:`listen.library.observed.Observed`."""

    def __init__(self, database: Database, machines: Machines) -> None:
        self._database, self._machines = database, machines

    def states(self, clip: ClipRecord) -> tuple[str, ...]:
        """Return the states that a person says a clip shows; none where its machine is not known."""
        return states_of(clip, self._machines.profile(clip.machine)) if clip.machine else ()

    def observe(self, clip: ClipRecord, state: str) -> Observed | None:
        """Measure a clip in a state; None when nobody says that it shows it.

        Raises
        ------
        LibraryError
            The tool has no opinion on the clip yet, or an older version measured it.
        """
        if clip.machine is None or not (spans := spans_of(clip, self._machines.profile(clip.machine), state)):
            return None
        with self._database.reading() as connection:
            opinion = latest_opinions(connection, [clip.sha256]).get(clip.sha256)
            m = t.measures
            kept = connection.execute(select(m).where(m.c.clip == clip.sha256)).one_or_none()
        if opinion is None:
            raise LibraryError(
                f"The tool has not heard clip {clip.sha256[:12]}… yet: hear it and keep the opinion, then compare."
            )
        if kept is None or kept.names_sha256 != NAMES_SHA256:
            raise LibraryError(
                f"Clip {clip.sha256[:12]}… was measured by an older version: run `listen library measure`, then compare."
            )
        return observe(clip, spans, unpack_traces(kept.traces, kept.n_cells), opinion.report)

    def beside(self, machine: str, state: str, clip: ClipRecord) -> Baseline:
        """Return a baseline of one clip: the one from before a repair, say."""
        if clip.machine != machine:
            raise LibraryError("The two clips are of two machines: compare clips of one machine.")
        observed = self.observe(clip, _state(state))
        return Baseline(machine, state, (observed,) if observed else ())

    def baseline(self, machine: str, state: str, *, without: str | None = None) -> Baseline:
        """Return the known-good baseline of a machine in a state.

        Left out, with the reason: clips on which the tool says `stop`, and clips in which a fault was
        confirmed: calling them good does not make them so.
        """
        self._machines.get(machine)
        with self._database.reading() as connection:
            good = c.listed(connection, machine=machine, good=True)
            opinions = latest_opinions(connection, [clip.sha256 for clip in good])
            outcomes = latest(connection, [clip.sha256 for clip in good])
        observed, left_out = [], []
        for clip in good:
            if clip.sha256 == without:
                continue
            opinion, outcome = opinions.get(clip.sha256), outcomes.get(clip.sha256)
            if opinion is None:
                left_out.append(f"{clip.name}: the tool has not heard it yet")
            elif opinion.level == "stop":
                left_out.append(f"{clip.name}: the tool says stop")
            elif outcome is not None and outcome.clip == clip.sha256 and outcome.state == "resolved":
                left_out.append(f"{clip.name}: a fault was confirmed in it")
            elif (seen := self.observe(clip, _state(state))) is not None:
                observed.append(seen)
        return Baseline(machine, state, tuple(observed), tuple(left_out))

    def trends(self, machine: str, *, limit: int) -> tuple[Trend, ...]:
        """Return the series of a machine's latest clips, those whose latest value lies farthest off first.

        Clips that the tool has not heard, or that an older version measured, are left out.
        """
        profile = self._machines.profile(machine)
        with self._database.reading() as connection:
            listed = c.listed(connection, machine=machine, limit=limit)
        seen: dict[str, list[Observed]] = {}
        for clip in listed:
            for state in states_of(clip, profile):
                with suppress(LibraryError):
                    if (one := self.observe(clip, state)) is not None:
                        seen.setdefault(state, []).append(one)
        days = {clip.sha256: clip.recorded_at or clip.added_at for clip in listed}
        found = []
        for state, observed in seen.items():
            good = (one.clip.sha256 for one in self.baseline(machine, state).observed)
            found += trends(state, observed, good, days)
        return tuple(sorted(found, key=lambda one: (-one.off, -len(one.points), one.state, one.sound)))


def _state(state: str) -> str:
    if state not in STATES:
        raise LibraryError(f"{state[:40]!r} is no state: use one of {', '.join(STATES)}.")
    return state
