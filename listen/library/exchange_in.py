"""Take in an exchange folder of another shop: every checksum first, its deletions honoured."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listen.errors import LibraryError, UnreadableClip, UnusableClip
from listen.library import deletion
from listen.library.exchange import CLIP_COLUMNS, FORMAT, LABEL_COLUMNS, OUTCOME_COLUMNS
from listen.library.table_io import number, read_table
from listen.library.values import is_hash, now, slug_of
from listen.library.vault import hash_file
from listen.types import StoryMark

if TYPE_CHECKING:
    from listen.decode import DecodeWorker
    from listen.library.library import Library
    from listen.library.records import ClipRecord

_LINE = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9._/-]{1,200})")
_SOUND = re.compile(r"[0-9a-f]{64}\.flac")


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What was taken in, what was known, what its deletions removed here, and what was refused with why."""

    added: tuple[str, ...]
    known: tuple[str, ...]
    deleted: tuple[str, ...]
    refused: tuple[str, ...]


def take_in(
    library: Library, folder: Path, *, source: str, by: str, worker: DecodeWorker | None = None,
    after_each: Callable[[ClipRecord], object] | None = None,
) -> TakenIn:  # fmt: skip
    """Add the clips, labels and outcomes of an exchange folder.

    Parameters
    ----------
    source : str
        Short name for where it comes from; its machines are named after it.
    by : str
        Who takes it in.

    Raises
    ------
    LibraryError
        A file is missing, altered or not named in the checksums, or the format is not known.
    """
    about = check_folder(folder)
    clips = read_table(folder / "clips.csv", needed=("file", "origin_sha256", "consent"), known=CLIP_COLUMNS)
    labels = read_table(folder / "labels.csv", needed=LABEL_COLUMNS[:4], known=LABEL_COLUMNS)
    outcomes = read_table(folder / "outcomes.csv", needed=("file", "state"), known=OUTCOME_COLUMNS)
    stones = read_table(
        folder / "deleted.csv", needed=("origin_sha256",), known=("origin_sha256", "deleted_at")
    )
    deleted = _apply_deletions(library, [row["origin_sha256"] for row in stones], by, source)
    machines = _machines(
        library, folder, slug_of(source), by, f"from {source}, made {str(about.get('made_at'))[:10]}"
    )
    added, known, refused = [], [], []
    there = _recordings(library)
    for row in clips:
        if row["origin_sha256"] in there:
            known.append(there[row["origin_sha256"]])
            continue
        try:
            if (
                row["consent"] != "share"
                or not _SOUND.fullmatch(row["file"])
                or not is_hash(row["origin_sha256"])
            ):
                raise LibraryError("its line in clips.csv is not right")
            record = library.add_clip(
                folder / "audio" / row["file"], name=f"{source} {row['file'][:8]}", machine=machines.get(row.get("machine", "")),
                story=_story(row), gauges=_gauges(row), capture={"phone": row["phone"]} if row.get("phone") else None,
                recorded_at=f"{row['recorded_in']}-01" if row.get("recorded_in") else None, by=by, consent="share",
                consent_by=f"as given to {source}", came_from="exchange", origin_sha256=row["origin_sha256"], worker=worker,
            )  # fmt: skip
            if record.was_known:
                known.append(record.sha256)
                continue
        except (UnreadableClip, UnusableClip, LibraryError) as error:
            refused.append(f"{row['file'][:12]}…: {error}")
            continue
        added.append(record.sha256)
        try:
            _tell(library, record.sha256, row, labels, outcomes, source)
        except LibraryError as error:
            refused.append(f"{row['file'][:12]}… was taken in, but not all that is said of it: {error}")
        if after_each is not None:
            after_each(record)
    return TakenIn(tuple(added), tuple(known), deleted, tuple(refused))


def check_folder(folder: Path) -> dict[str, Any]:
    """Check format and every checksum of an exchange folder; return what `about.json` says."""
    try:
        about = json.loads((folder / "about.json").read_text(encoding="utf-8"))
        lines = (folder / "checksums.sha256").read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError) as error:
        raise LibraryError(
            f"{folder.name} is no exchange folder: about.json or checksums.sha256 is missing or damaged."
        ) from error
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        raise LibraryError(f"{folder.name}: its format is not {FORMAT!r}; ask its maker for that one.")
    named: dict[str, str] = {}
    for line in lines:
        match = _LINE.fullmatch(line)
        if match is None or ".." in Path(match[2]).parts or match[2].startswith("/"):
            raise LibraryError(f"{folder.name}: checksums.sha256 is damaged; copy the folder again.")
        named[match[2]] = match[1]
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() or p.is_symlink()} - {
        "checksums.sha256"
    }
    for name in sorted(there ^ set(named)):
        what = "is not named in the checksums" if name in there else "is missing"
        raise LibraryError(f"{folder.name}: {name} {what}; copy the folder again.")
    for name, sha256 in named.items():
        path = folder / name
        if path.is_symlink() or hash_file(path) != sha256:
            raise LibraryError(f"{folder.name}: {name} was altered or damaged; copy the folder again.")
    return about


def _apply_deletions(library: Library, hashes: list[str], by: str, source: str) -> tuple[str, ...]:
    """Delete what the sender deleted: clips of any exchange by their first recording, and leave the tombstones."""
    from sqlalchemy import or_, select

    from listen.library import tables as t

    wanted = [h for h in hashes if is_hash(h)]
    found: list[str] = []
    with library.database.reading() as connection:
        k = t.clips.c
        for sha256 in wanted:
            query = select(k.sha256).where(
                k.came_from == "exchange", or_(k.origin_sha256 == sha256, k.sha256 == sha256)
            )
            found += list(connection.scalars(query))
    if found:
        library.delete(*found, by=by, why=f"deleted by {source}")
    stones = [(h, now(), by or source, f"deleted by {source}") for h in wanted]
    with library.database.writing() as connection:
        own = (
            set(connection.scalars(select(t.clips.c.sha256).where(t.clips.c.sha256.in_(wanted))))
            if wanted
            else set()
        )
        # A sender's deletion reaches what came from senders; the shop's own first recordings stay the shop's.
        stones = [stone for stone in stones if stone[0] not in own]
        deletion.bury(connection, stones)
    return tuple(found)


def _recordings(library: Library) -> dict[str, str]:
    """Return every recording that is here, by its first bytes' hash: of copies, too."""
    clips = library.clips()
    return {c.sha256: c.sha256 for c in clips} | {c.origin_sha256: c.sha256 for c in clips if c.origin_sha256}


def _machines(library: Library, folder: Path, source: str, by: str, note: str) -> dict[str, str]:
    try:
        profiles = json.loads((folder / "machines.json").read_text(encoding="utf-8"))
        if not isinstance(profiles, dict):
            raise ValueError("no table")
    except (OSError, ValueError) as error:
        raise LibraryError(f"{folder.name}: machines.json is missing or damaged.") from error
    there = {machine.id for machine in library.machines.all()}
    out = {}
    for name, profile in sorted(profiles.items()):
        id = f"{source}-{slug_of(str(name))}"[:64]
        if id not in there:
            library.machines.add(f"{source} {name}"[:80], id=id, profile=profile, note=note, by=by)
        out[name] = id
    return out


def _tell(
    library: Library,
    sha256: str,
    row: dict[str, str],
    labels: list[dict[str, str]],
    outcomes: list[dict[str, str]],
    source: str,
) -> None:
    for x in labels:
        if x["file"] == row["file"]:
            library.labels.add(
                sha256, x["sound"], number(x["onset_s"], "labels.csv"), number(x["offset_s"], "labels.csv"),
                by=f"{source} {x.get('author', '')}".strip(), present=x.get("present", "yes") != "no",
            )  # fmt: skip
    for x in outcomes:
        if x["file"] == row["file"]:
            library.outcomes.add(
                clip=sha256,
                state=x["state"],
                part=x.get("part", ""),
                cause=x.get("cause", ""),
                by=source,
            )
    if row.get("good") == "yes":
        library.mark_good(sha256, by=source)
    if row.get("complete") == "yes":
        library.mark_complete(sha256, by=source)


def _story(row: dict[str, str]) -> list[StoryMark]:
    marks = []
    for text in row.get("story", "").split(";"):
        if text.strip():
            at, _, word = text.strip().partition(" ")
            marks.append(StoryMark(number(at, "clips.csv"), word.strip()))
    return marks


def _gauges(row: dict[str, str]) -> dict[str, float]:
    pairs = [text.strip().partition("=") for text in row.get("gauges", "").split(";") if text.strip()]
    return {name: number(bar, "clips.csv") for name, _, bar in pairs}
