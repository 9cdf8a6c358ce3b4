"""`listen batch`: a folder or a table of clips, on all cores or a cluster."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from listen.cli.group import OK, OURS, USAGE, debug_option, say
from listen.errors import BadParameter

if TYPE_CHECKING:
    from listen.batch.engines import Engine
    from listen.batch.plan import Item
    from listen.batch.task import Keep, Outcome

#: How often progress is told where nobody watches, s.
_EVERY_S = 15.0


@click.command(
    epilog="Exit code: 0 every clip heard, 2 wrong usage or a clip that cannot be used, 1 our own failure."
)
@click.argument("source", metavar="FOLDER|TABLE.csv", type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, metavar="DIR", type=click.Path(path_type=Path),
    help="Folder of results. Given again, the batch goes on where it was stopped.",
)  # fmt: skip
@click.option(
    "--clips", metavar="DIR", type=click.Path(path_type=Path),
    help="Folder that the paths of the table start from; its own when missing.",
)  # fmt: skip
@click.option("--machine", metavar="FILE.toml|NAME", help="Machine of every clip whose line names none.")
@click.option("--mains", type=click.Choice(["50", "60"]), help="Mains frequency in Hz, where it is known.")
@click.option(
    "--jobs", type=click.IntRange(1, 512), help="Processes at once; as many as there are cores when missing."
)
@click.option("--cluster", metavar="tcp://HOST:PORT", help="Hear on an existing Dask cluster instead.")
@click.option(
    "--library", "keep_at", is_flag=True, help="Also keep every clip that was heard in the library."
)
@click.option("--at", metavar="PLACE", help="The library, where it is not the usual one.")
@click.option("--vault", metavar="PLACE", help="Vault of a library whose database is elsewhere.")
@click.option("--by", envvar="LISTEN_BY", metavar="NAME", help="Who adds the clips to the library.")
@debug_option
def batch(
    source: Path, out: Path, clips: Path | None, machine: str | None, mains: str | None, jobs: int | None,
    cluster: str | None, keep_at: bool, at: str | None, vault: str | None, by: str | None,
) -> int:  # fmt: skip
    """Hear every clip of a folder, or of a table of stories.

    The table has the column `path`, and any of machine, did ('0:04 brew_on; 0:31
    brew_off'), gauge ('boiler=1.1'), said, answer, mains and pump. What was heard
    before by the same model with the same story is not heard again.

    DIR gets results.csv, results.parquet and a file a result in `clips`.
    """
    from listen.batch import read_plan, run_batch
    from listen.batch.plan import Context
    from listen.batch.task import FAILED, HEARD, UNUSABLE
    from listen.library.pointer import shop_model

    keep, find = _library(at, vault, by) if keep_at else (None, _profile)
    common = Context(machine=find(machine) if machine else None, mains_hz=int(mains) if mains else None)
    plan = read_plan(
        source, common=common, machine_name=machine or "", clips=clips, leave_out=out, find_machine=find
    )
    engine = _engine(cluster, jobs)
    progress = Progress(len(plan))
    try:
        done = run_batch(plan, out, engine=engine, model_folder=shop_model(), keep=keep, each=progress.step)
    finally:
        progress.end()
        engine.close()
    heard, unusable, failed = (done.count(status) for status in (HEARD, UNUSABLE, FAILED))
    levels = [row.level for row in done.rows if row.level]
    stops = levels.count("stop")
    click.echo(
        f"{len(done.rows)} clips: {heard} heard, {unusable} not usable, {failed} failed; "
        f"{done.n_before} of them were there before."
    )
    if stops:
        click.echo(f"Level stop: {stops} {'clip' if stops == 1 else 'clips'}. Read those first.")
    click.echo(f"Results in {done.csv} and {done.parquet}")
    if failed:
        return OURS
    return USAGE if unusable or progress.not_kept else OK


def _engine(cluster: str | None, jobs: int | None) -> Engine:
    from listen.batch.engines import Cluster, Local, cores

    if cluster and jobs:
        raise BadParameter("A cluster has its own number of workers: leave --jobs out, or --cluster.")
    return Cluster(cluster) if cluster else Local(jobs or cores())


def _profile(name: str) -> Any:
    from listen.bench.machine import load_machine

    return load_machine(name)


def _library(at: str | None, vault: str | None, by: str | None) -> tuple[Keep, Any]:
    """Return where clips are kept, and how the library's own machines are found by their short names."""
    from listen.batch.task import Keep
    from listen.library import open_library

    if not by:
        raise BadParameter(
            "To keep clips in the library say who adds them: --by NAME, or set LISTEN_BY once."
        )
    with open_library(at, vault=vault) as library:
        profiles = {record.id: library.machines.profile(record.id) for record in library.machines.all()}

    def find(name: str) -> Any:
        if name not in profiles:
            raise BadParameter(
                f"There is no machine {name[:64]!r} in the library: add it with 'listen library machine', "
                "or leave --library out."
            )
        return profiles[name]

    return Keep(at, vault, by), find


class Progress:
    """Tell on stderr how far it is: a line that is written over on a terminal, else one now and then."""

    def __init__(self, total: int, *, clock: Any = time.monotonic) -> None:
        self.total, self.clock = total, clock
        self.done = self.before = self.not_kept = 0
        self.bad = 0
        self.started = self.told = clock()
        self.on_terminal = sys.stderr.isatty()

    def step(self, item: Item, outcome: Outcome, before: bool) -> None:
        """Count one line of the plan; a clip that could not be used is named at once."""
        self.done += 1
        self.before += before
        if outcome.not_kept:
            self.not_kept += 1
            self._say(outcome.not_kept)
        if outcome.report is None:
            self.bad += 1
            name, _, rest = outcome.sentence.partition(": ")
            self._say(f"{item.shown}: {rest}" if rest else f"{item.shown}: {name}")
        now = self.clock()
        if self.done < self.total and (self.on_terminal or now - self.told >= _EVERY_S):
            self.told = now
            self._write(self.line())

    def line(self) -> str:
        """Return how far it is and about how long it still takes."""
        fresh, took = self.done - self.before, self.clock() - self.started
        text = f"{self.done} of {self.total} clips"
        if self.bad:
            text += f", {self.bad} not usable"
        if fresh > 0 and took > 0:
            left = (self.total - self.done) * took / fresh
            text += f", {60 * fresh / took:.0f} a minute, about {_span(left)} left"
        return text

    def end(self) -> None:
        """Leave a clean line."""
        if self.on_terminal and self.done:
            click.echo("\r\x1b[K", nl=False, err=True)

    def _say(self, sentence: str) -> None:
        self.end()
        say(sentence)

    def _write(self, text: str) -> None:
        if self.on_terminal:
            click.echo(f"\r\x1b[K{text}", nl=False, err=True)
        else:
            click.echo(text, err=True)


def _span(seconds: float) -> str:
    """Write a time to wait: seconds, minutes, then hours and minutes."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
