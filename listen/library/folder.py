"""Import of a folder of recordings with a table that says what each one is.

Conventions
-----------
`clips.csv` has one line a recording (only `file` is needed), `labels.csv`
beside it, where there is one, a line a labelled span. A story is written as on
the command line, its marks parted by semicolons: `0:04 brew_on; 0:31 brew_off`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from listen.bench.inputs import parse_did, parse_gauge
from listen.errors import BadParameter, LibraryError, UnreadableClip, UnusableClip
from listen.library.table_io import number, read_table
from listen.types import StoryMark

if TYPE_CHECKING:
    from listen.decode import DecodeWorker
    from listen.library.library import Library
    from listen.library.records import ClipRecord

CLIP_COLUMNS: tuple[str, ...] = (
    "file", "machine", "recorded_at", "phone", "place", "story", "gauges", "said", "consent", "consent_by", "keep_until",
    "ticket", "good", "complete",
)  # fmt: skip
LABEL_COLUMNS: tuple[str, ...] = ("file", "sound", "onset_s", "offset_s", "present", "author", "note")
_YES = {
    "yes": True,
    "y": True,
    "1": True,
    "true": True,
    "x": True,
    "": False,
    "no": False,
    "n": False,
    "0": False,
    "false": False,
}


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: `added` and `known` hashes; `refused` and `skipped` say file and why."""

    added: tuple[str, ...]
    known: tuple[str, ...]
    n_labels: int
    refused: tuple[str, ...]


def import_folder(
    library: Library, folder: Path, *, table: Path | None = None, by: str, worker: DecodeWorker | None = None,
    after_each: Callable[[ClipRecord], object] | None = None,
) -> Imported:  # fmt: skip
    """Add the recordings that a table lists.

    Parameters
    ----------
    folder : Path
        Where the recordings lie; nothing outside it is read.
    table : Path, optional
        `clips.csv` in the folder when missing; `labels.csv` is looked for beside it.
    by : str
        Who imports, and whose labels those without an author are.
    after_each : callable, optional
        Gets each new clip: to hear it and keep the opinion.

    Raises
    ------
    LibraryError
        The tables are not right. They are checked wholly before a clip is added.
    """
    table = table or folder / "clips.csv"
    rows = read_table(table, needed=("file",), known=CLIP_COLUMNS)
    label_path = table.with_name("labels.csv")
    labels = (
        read_table(label_path, needed=("file", "sound", "onset_s", "offset_s"), known=LABEL_COLUMNS)
        if label_path.is_file()
        else []
    )
    machines = {machine.id for machine in library.machines.all()}
    told = [_told(row, table.name, folder, machines) for row in rows]
    names = {str(t["file"]) for t in told}
    spans = [_span(row, label_path.name, names, by) for row in labels]
    added: list[str] = []
    known: list[str] = []
    refused: list[str] = []
    n_labels = 0
    for values in told:
        file, good, complete = str(values.pop("file")), values.pop("good"), values.pop("complete")
        try:
            record = library.add_clip(folder / file, by=by, came_from="folder", worker=worker, **values)  # type: ignore[arg-type]
        except (UnreadableClip, UnusableClip, LibraryError) as error:
            refused.append(f"{file}: {error}")
            continue
        (known if record.was_known else added).append(record.sha256)
        if record.was_known:
            continue
        for span in (s for s in spans if s["file"] == file):
            try:
                library.labels.add(record.sha256, **{k: v for k, v in span.items() if k != "file"})  # type: ignore[arg-type]
                n_labels += 1
            except LibraryError as error:
                refused.append(f"{file} was added, but not its label {span['sound']!r}: {error}")
                # With a label missing its labels are not complete, whatever the table says.
                complete = False
        if good:
            library.mark_good(record.sha256, by=by)
        if complete:
            library.mark_complete(record.sha256, by=by)
        if after_each is not None:
            after_each(record)
    return Imported(tuple(added), tuple(known), n_labels, tuple(refused))


def _told(row: dict[str, str], table: str, folder: Path, machines: set[str]) -> dict[str, object]:
    where = f"{table}, line {row['line']}"
    file = row["file"]
    path = folder / file
    if not file or Path(file).is_absolute() or ".." in Path(file).parts or not path.is_file():
        raise LibraryError(f"{where}: there is no file {file[:80]!r} in the folder.")
    if row.get("machine") and row["machine"] not in machines:
        raise LibraryError(
            f"{where}: there is no machine {row['machine'][:64]!r} in the library; add it first."
        )
    try:
        story = [parse_did(text) for text in row.get("story", "").split(";") if text.strip()]
        gauges = dict(parse_gauge(text) for text in row.get("gauges", "").split(";") if text.strip())
    except BadParameter as error:
        raise LibraryError(f"{where}: {error}") from error
    return {
        "file": file, "machine": row.get("machine") or None, "story": [StoryMark(m.at_s, m.word) for m in story],
        "gauges": gauges, "said": row.get("said", ""), "recorded_at": row.get("recorded_at") or None,
        "capture": {k: row[k] for k in ("phone", "place") if row.get(k)}, "consent": row.get("consent") or "shop",
        "consent_by": row.get("consent_by", ""), "keep_until": row.get("keep_until") or None,
        "ticket": row.get("ticket", ""), "good": _yes(row.get("good", ""), where), "complete": _yes(row.get("complete", ""), where),
    }  # fmt: skip


def _span(row: dict[str, str], table: str, names: set[str], by: str) -> dict[str, object]:
    where = f"{table}, line {row['line']}"
    if row["file"] not in names:
        raise LibraryError(f"{where}: {row['file'][:80]!r} is not among the recordings of the table.")
    return {
        "file": row["file"], "sound": row["sound"], "onset_s": number(row["onset_s"], where),
        "offset_s": number(row["offset_s"], where), "present": _yes(row.get("present") or "yes", where),
        "by": row.get("author") or by, "note": row.get("note", ""),
    }  # fmt: skip


def _yes(text: str, where: str) -> bool:
    try:
        return _YES[text.lower()]
    except KeyError as error:
        raise LibraryError(f"{where}: {text[:20]!r} is neither yes nor no.") from error
