"""What is to be heard: every recording of a folder, or the lines of a table of stories.

Conventions
-----------
A table has one line a recording. Only `path` is needed (from the table's own
folder, or from `clips`); `machine`, `did`, `gauge`, `said`, `answer`, `mains` and
`pump` mean what the options of `listen hear` mean, several marks or readings in
one cell parted by semicolons: `0:04 brew_on; 0:31 brew_off`.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from listen import __version__
from listen.bench.inputs import parse_answer, parse_did, parse_gauge
from listen.bench.machine import CHOICES, Machine, load_machine
from listen.errors import BadParameter, LibraryError, ListenError
from listen.library.table_io import read_table
from listen.report.plain import plain_text
from listen.resources import knowledge
from listen.types import StoryMark

COLUMNS: tuple[str, ...] = ("path", "machine", "did", "gauge", "said", "answer", "mains", "pump")
#: Files that lie beside recordings and are none; anything else is tried, whatever its name.
BESIDE: frozenset[str] = frozenset(
    (".csv", ".json", ".jsonl", ".html", ".htm", ".txt", ".md", ".toml", ".pdf", ".parquet", ".vtt", ".part", ".ini")
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Context:
    """What is told with a clip, as :func:`listen.hear` takes it."""

    machine: Machine | None = None
    marks: tuple[StoryMark, ...] = ()
    gauges: Mapping[str, float] = field(default_factory=dict)
    said: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    mains_hz: int | None = None
    pump: str | None = None

    def arguments(self) -> dict[str, Any]:
        """Return the context as keyword arguments of :func:`listen.hear`."""
        return {
            "machine": self.machine, "marks": self.marks, "gauges": dict(self.gauges), "said": self.said,
            "answers": dict(self.answers), "mains_hz": self.mains_hz, "pump": self.pump,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Item:
    """One recording of the plan.

    Attributes
    ----------
    path : Path
        Where it lies.
    shown : str
        Its place within the folder or table, on one line.
    context : Context
    machine_name : str
        As the table names it; empty where nothing is known.
    """

    path: Path
    shown: str
    context: Context = Context()
    machine_name: str = ""


def read_plan(
    source: Path,
    *,
    common: Context | None = None,
    machine_name: str = "",
    clips: Path | None = None,
    leave_out: Path | None = None,
    find_machine: Callable[[str], Machine] = load_machine,
) -> tuple[Item, ...]:
    """List what is to be heard.

    Parameters
    ----------
    source : Path
        A folder (with all below it), or a CSV table.
    common : Context, optional
        Holds for every clip unless its line says otherwise.
    machine_name : str
        Name of the common machine, for the table of results.
    clips : Path, optional
        Folder that the paths of a table start from; the table's own when missing.
    leave_out : Path, optional
        A folder below `source` that is not looked into: the results.
    find_machine : callable
        Name or file → profile.

    Raises
    ------
    BadParameter
        No such source, nothing in it, or a line that is not right. The whole table is checked
        before anything is heard.
    """
    common = common or Context()
    if source.is_dir():
        items = tuple(_of_folder(source, common, machine_name, leave_out))
        if not items:
            raise BadParameter(
                f"There is no recording in {plain_text(str(source))}: name the folder that holds them."
            )
        return items
    if not source.is_file():
        raise BadParameter(f"There is no folder or table {plain_text(str(source))}: check the name.")
    try:
        rows = read_table(source, needed=("path",), known=COLUMNS)
    except LibraryError as error:
        raise BadParameter(str(error)) from error
    if not rows:
        raise BadParameter(f"{plain_text(source.name)}: the table lists no recording.")
    machine = cache(find_machine)
    return tuple(_of_row(row, source, clips or source.parent, common, machine_name, machine) for row in rows)


def _of_folder(folder: Path, common: Context, machine_name: str, leave_out: Path | None) -> Iterator[Item]:
    skipped = leave_out.resolve() if leave_out is not None else None
    for here, folders, files in os.walk(folder):
        place = Path(here)
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and (place / name).resolve() != skipped
        )
        for name in sorted(files):
            path = place / name
            if name.startswith(".") or path.suffix.lower() in BESIDE or not path.is_file():
                continue
            yield Item(path, plain_text(str(path.relative_to(folder))), common, machine_name)


def _of_row(
    row: dict[str, str], table: Path, clips: Path, common: Context, machine_name: str, machine: Callable[[str], Machine]
) -> Item:  # fmt: skip
    where = f"{plain_text(table.name)}, line {row['line']}"
    named = row["path"]
    # A table may come from somebody else: it names recordings in its folder and nothing besides.
    if not named or "\0" in named or Path(named).is_absolute() or ".." in Path(named).parts:
        raise BadParameter(f"{where}: {named[:80]!r} is no place below the folder of the recordings.")
    try:
        context = _context(row, common, machine)
    except ListenError as error:
        raise BadParameter(f"{where}: {error}") from error
    return Item(clips / named, plain_text(named), context, row.get("machine") or machine_name)


def _context(row: dict[str, str], common: Context, machine: Callable[[str], Machine]) -> Context:
    told: dict[str, Any] = {}
    if row.get("machine"):
        told["machine"] = machine(row["machine"])
    if parts := _parts(row.get("did")):
        told["marks"] = tuple(parse_did(part) for part in parts)
    for name, column, parse in (("gauges", "gauge", parse_gauge), ("answers", "answer", parse_answer)):
        if parts := _parts(row.get(column)):
            pairs = [parse(part) for part in parts]
            told[name] = dict(pairs)  # type: ignore[arg-type]
            if len(told[name]) < len(pairs):
                raise BadParameter(f"{column} names one thing twice.")
    if row.get("said"):
        told["said"] = row["said"]
    if row.get("mains"):
        if row["mains"] not in ("50", "60"):
            raise BadParameter(f"Mains is 50 or 60 Hz, not {row['mains'][:10]!r}.")
        told["mains_hz"] = int(row["mains"])
    if row.get("pump"):
        if row["pump"] not in CHOICES["pump"]:
            raise BadParameter(f"A pump is one of {', '.join(CHOICES['pump'])}, not {row['pump'][:20]!r}.")
        told["pump"] = row["pump"]
    return replace(common, **told)


def _parts(cell: str | None) -> list[str]:
    return [part.strip() for part in (cell or "").split(";") if part.strip()]


@cache
def knowledge_sha256() -> str:
    """Hash the shipped tables: other knowledge judges otherwise."""
    digest = hashlib.sha256()
    folder = knowledge()
    for path in sorted(folder.rglob("*.toml")):
        digest.update(f"{path.relative_to(folder).as_posix()}\0".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def identity_of(clip_sha256: str, model_sha256: str, context: Context) -> str:
    """Name a result by all that it depends on: the clip's bytes, the model, the knowledge and the story.

    Returns
    -------
    str
        64 hexadecimal signs.
    """
    told = asdict(context)
    told["answers"], told["gauges"] = sorted(told["answers"].items()), sorted(told["gauges"].items())
    basis = {
        "clip": clip_sha256, "model": model_sha256, "knowledge": knowledge_sha256(), "version": __version__, "told": told,
    }  # fmt: skip
    return hashlib.sha256(json.dumps(basis, sort_keys=True, default=list).encode()).hexdigest()
