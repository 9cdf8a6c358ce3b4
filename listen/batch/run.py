"""Run a batch: what was heard before is not heard again, one broken clip never stops the rest."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from listen.batch.drive import drive
from listen.batch.engines import Engine, Local, cores
from listen.batch.plan import Item, identity_of
from listen.batch.store import Results
from listen.batch.tables import Row, write_tables
from listen.batch.task import FAILED, HEARD, UNUSABLE, Keep, Outcome, Task
from listen.batch.work import do
from listen.decode.limits import DecodeLimits
from listen.decode.source import Source
from listen.errors import ListenError
from listen.pipeline import model

#: A larger clip is not sent over the network: the workers must see the file itself.
LARGEST_SENT = 64_000_000


@dataclass(frozen=True, slots=True)
class BatchDone:
    """How a batch ended.

    Attributes
    ----------
    rows : tuple of Row
        In the order of the plan.
    n_before : int
        How many results were there already.
    csv, parquet : Path
    """

    rows: tuple[Row, ...]
    n_before: int
    csv: Path
    parquet: Path

    def count(self, status: str) -> int:
        """Return how many recordings ended so: heard, unusable or failed."""
        return sum(row.outcome.status == status for row in self.rows)


class _Batch:
    """The state of one run: outcomes by identity, and which lines of the plan wait for which."""

    def __init__(
        self, plan: Sequence[Item], results: Results, engine: Engine, model_folder: str | None, keep: Keep | None,
        each: Callable[[Item, Outcome, bool], object],
    ) -> None:  # fmt: skip
        self.plan, self.results, self.engine, self.keep, self.each = plan, results, engine, keep, each
        self.model_folder, self.model_sha256 = model_folder, model(model_folder).info.sha256
        self.rows: list[Row | None] = [None] * len(plan)
        self.waiting: dict[str, list[int]] = {}
        self.ended: dict[str, Outcome] = {}
        self.n_before = 0

    def tasks(self) -> Iterator[Task]:
        """Yield what is still to be heard (or kept); settle at once what needs no work."""
        for place, item in enumerate(self.plan):
            try:
                sha256, data = self._read(item)
            except ListenError as error:
                self._settle(place, Outcome(UNUSABLE, sentence=f"{item.shown}: {_without_name(error)}"), "")
                continue
            identity = identity_of(sha256, self.model_sha256, item.context)
            first = identity not in self.waiting
            self.waiting.setdefault(identity, []).append(place)
            if not first:
                # The same bytes with the same story: heard once, told of every line.
                if identity in self.ended:
                    self._settle(place, self.ended[identity], identity)
                continue
            found = self.results.get(identity)
            if found is not None and (self.keep is None or found.status != HEARD):
                self.n_before += 1
                self.end(identity, found, before=True)
                continue
            self.n_before += found is not None
            yield Task(
                str(item.path), data, item.path.name, identity, sha256, item.context, self.model_folder, self.model_sha256,
                self.keep and replace(self.keep, machine=item.machine_name or None), found.report if found is not None else None,
            )  # fmt: skip

    def end(self, identity: str, outcome: Outcome, *, before: bool = False) -> None:
        """Settle every line of the plan that waits for an identity, now and later."""
        if outcome.lasting and not before:
            self.results.put(identity, outcome)
        self.ended[identity] = outcome
        for place in self.waiting[identity]:
            self._settle(place, outcome, identity, before=before)

    def _read(self, item: Item) -> tuple[str, bytes | None]:
        source = Source(item.path, name=None, limits=DecodeLimits())
        with closing(source):
            whole = self.engine.sends_bytes and source.size <= LARGEST_SENT
            return source.sha256(), source.read_at(0, source.size) if whole else None

    def _settle(self, place: int, outcome: Outcome, identity: str, *, before: bool = False) -> None:
        item = self.plan[place]
        self.rows[place] = Row(item, outcome, identity)
        self.each(item, outcome, before)


def run_batch(
    plan: Sequence[Item],
    out: Path,
    *,
    engine: Engine | None = None,
    model_folder: str | None = None,
    keep: Keep | None = None,
    each: Callable[[Item, Outcome, bool], object] | None = None,
) -> BatchDone:
    """Hear every clip of a plan that was not heard before.

    Parameters
    ----------
    plan : sequence of Item
    out : Path
        Folder of results. Given again, the batch goes on where it was killed.
    engine : Local or Cluster, optional
        All cores of this machine when missing.
    model_folder : str, optional
        Another model than the shipped one.
    keep : Keep, optional
        Put what is heard into a library.
    each : callable, optional
        Told of each line's item and outcome, and whether the outcome was there before.

    Returns
    -------
    BatchDone

    Raises
    ------
    BadParameter
        The folder of results cannot be written.
    ListenError
        The cluster is gone.
    """
    engine = engine or Local(cores())
    batch = _Batch(plan, Results(out), engine, model_folder, keep, each or _nobody)
    # A cluster's workers need not reach the library: what they heard is kept from here.
    keeps_here = keep is not None and engine.sends_bytes
    for task, outcome in drive(_without_keep(batch.tasks()) if keeps_here else batch.tasks(), engine):
        if keeps_here and outcome.report is not None:
            where = replace(keep, machine=batch.plan[batch.waiting[task.identity][0]].machine_name or None)  # type: ignore[type-var]
            outcome = do(replace(task, keep=where, report=outcome.report))
        batch.end(task.identity, outcome)
    rows = tuple(row for row in batch.rows if row is not None)
    return BatchDone(rows, batch.n_before, *write_tables(out, rows))


def _without_keep(tasks: Iterator[Task]) -> Iterator[Task]:
    for task in tasks:
        yield replace(task, keep=None)


def _without_name(error: ListenError) -> str:
    """Drop the file's name in front of a sentence: the line of the plan names it by its place."""
    _, sign, rest = str(error).partition(": ")
    return rest if sign else str(error)


def _nobody(item: Item, outcome: Outcome, before: bool) -> None:
    """Listen to nothing."""


__all__ = ["FAILED", "HEARD", "UNUSABLE", "BatchDone", "run_batch"]
