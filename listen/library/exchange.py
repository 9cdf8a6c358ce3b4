"""Give clips to others: an open folder of FLAC, CSV and JSON with checksums, consent honoured.

Conventions
-----------
Only clips whose owner agreed to `share` go. What could lead to a person or a
place stays: the original file (it may hold the place of recording), its name,
places, what was said, tickets, names of machines and of people. Spans in which
the ear heard speech are silenced. `about.json` documents the columns, and
`checksums.sha256` can be checked by the usual tool (`sha256sum -c`).
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select

from listen.errors import LibraryError
from listen.library import clips as c
from listen.library import tables as t
from listen.library.labels import labels_of
from listen.library.library import Library
from listen.library.opinions import latest_opinions
from listen.library.outcomes import latest
from listen.library.records import ClipRecord, LabelRecord, OutcomeRecord
from listen.library.table_io import write_table
from listen.library.values import now

FORMAT = "listen-exchange/1"
CLIP_COLUMNS: tuple[str, ...] = (
    "file", "origin_sha256", "machine", "recorded_in", "duration_s", "rate_hz", "codec", "phone", "story", "gauges", "good",
    "complete", "silenced", "consent",
)  # fmt: skip
LABEL_COLUMNS: tuple[str, ...] = ("file", "sound", "onset_s", "offset_s", "present", "author")
#: Evidence is free text and stays here.
OUTCOME_COLUMNS: tuple[str, ...] = ("file", "state", "part", "cause", "confirmed_in")
COLUMN_WORDS: dict[str, str] = {
    "file": "sound under audio/, mono FLAC", "origin_sha256": "SHA-256 of the first recording's bytes: what a deletion is asked by",
    "machine": "name made up for this export; its profile stands in machines.json", "recorded_in": "year and month",
    "story": "seconds and word (state or action), parted by semicolons", "gauges": "name=bar above atmosphere, parted by semicolons",
    "good": "yes: the machine was found in good order", "complete": "yes: the labels name every sound in the clip",
    "silenced": "spans in seconds in which speech was heard and taken out", "consent": "what the owner agreed to: share",
    "present": "no: the sound is not there, says the author", "author": "number of the person within this export",
    "confirmed_in": "year and month",
}  # fmt: skip
#: Sounds that may carry words.
_SILENCED = ("speech", "music")
#: Speech is silenced with so much around it, s.
_AROUND_S = 0.3


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export holds, and how many clips stayed because nobody agreed to pass them on."""

    folder: Path
    n_clips: int
    n_labels: int
    n_outcomes: int
    n_without_consent: int
    silenced_s: float


def export(
    library: Library, folder: Path, *, clips: Sequence[str] | None = None, silence_speech: bool = True
) -> Exported:
    """Write an exchange folder.

    Parameters
    ----------
    folder : Path
        Must not be there, or be empty. It appears only when all of it is written.
    clips : sequence of str, optional
        Which clips; all that may be shared when missing.
    silence_speech : bool

    Raises
    ------
    LibraryError
        The folder is taken, a named clip may not be shared, or nothing is left to give.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise LibraryError(f"{folder.name} is not empty: name a new folder for the export.")
    with library.database.reading(snapshot=True) as connection:
        all_clips = c.listed(connection)
        chosen = [c.record(c.find(connection, id)) for id in clips] if clips is not None else list(all_clips)
        kept = [clip for clip in chosen if clip.consent == "share"]
        if clips is not None and len(kept) < len(chosen):
            bad = next(clip for clip in chosen if clip.consent != "share")
            raise LibraryError(
                f"The owner of clip {bad.sha256[:12]}… did not agree to pass it on: ask first, and note the consent."
            )
        labels = {
            # What is silenced is no longer there to be heard.
            clip.sha256: tuple(
                x for x in labels_of(connection, clip.sha256) if not (silence_speech and x.sound in _SILENCED)
            )
            for clip in kept
        }
        outcomes = latest(connection, [clip.sha256 for clip in kept])
        opinions = latest_opinions(connection, [clip.sha256 for clip in kept])
        profiles = {
            row.id: row.profile for row in connection.execute(select(t.machines.c.id, t.machines.c.profile))
        }
        deleted = [
            tuple(row) for row in connection.execute(select(t.tombstones.c.sha256, t.tombstones.c.deleted_at))
        ]
    if not kept:
        raise LibraryError("No clip may be passed on: none has the consent `share`.")
    part = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    (part / "audio").mkdir(parents=True)
    try:
        names = {
            id: f"machine-{n}" for n, id in enumerate(sorted({k.machine for k in kept if k.machine}), start=1)
        }
        files, silenced = {}, {}
        for clip in kept:
            spans = (
                _speech(opinions[clip.sha256].report) if silence_speech and clip.sha256 in opinions else []
            )
            if silence_speech and clip.sha256 not in opinions:
                raise LibraryError(
                    f"Clip {clip.sha256[:12]}… was not heard yet, so speech in it is not known: hear it first."
                )
            files[clip.sha256] = _write_sound(library, clip, part / "audio", spans)
            silenced[clip.sha256] = spans
        _write_tables(part, kept, labels, outcomes, files, silenced, names)
        about = {
            "format": FORMAT, "made_at": now(), "clips": len(kept), "columns": COLUMN_WORDS,
            "licence": "by the consent of the recordings' owners: to learn from and to pass on; delete what deleted.csv lists",
        }  # fmt: skip
        machines = {names[id]: json.loads(profiles[id]) for id in names}
        (part / "about.json").write_text(
            json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
        )
        (part / "machines.json").write_text(
            json.dumps(machines, indent=1, sort_keys=True) + "\n", encoding="utf-8"
        )
        write_table(
            part / "deleted.csv", ("origin_sha256", "deleted_at"),
            [{"origin_sha256": sha256, "deleted_at": at[:10]} for sha256, at in sorted(deleted)],
        )  # fmt: skip
        write_checksums(part)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return Exported(
        folder, len(kept), sum(len(v) for v in labels.values()), len(outcomes), len(chosen) - len(kept),
        round(sum(b - a for spans in silenced.values() for a, b in spans), 1),
    )  # fmt: skip


def _write_tables(
    part: Path, kept: Sequence[ClipRecord], labels: dict[str, tuple[LabelRecord, ...]], outcomes: dict[str, OutcomeRecord],
    files: dict[str, str], silenced: dict[str, list[tuple[float, float]]], names: dict[str, str],
) -> None:  # fmt: skip
    people = sorted({label.author for spans in labels.values() for label in spans})
    write_table(
        part / "clips.csv",
        CLIP_COLUMNS,
        [_clip_row(k, files[k.sha256], silenced[k.sha256], names) for k in kept],
    )
    write_table(
        part / "labels.csv", LABEL_COLUMNS,
        [
            {"file": files[sha], "sound": x.sound, "onset_s": x.onset_s, "offset_s": x.offset_s,
             "present": "yes" if x.present else "no", "author": people.index(x.author) + 1}
            for sha, spans in labels.items() for x in spans
        ],
    )  # fmt: skip
    write_table(
        part / "outcomes.csv", OUTCOME_COLUMNS,
        [
            {"file": files[sha], "state": o.state, "part": o.part, "cause": o.cause,
             "confirmed_in": o.confirmed_at[:7]}
            for sha, o in sorted(outcomes.items())
        ],
    )  # fmt: skip


def _clip_row(
    clip: ClipRecord, file: str, spans: list[tuple[float, float]], names: dict[str, str]
) -> dict[str, Any]:
    return {
        "file": file, "origin_sha256": clip.origin_sha256 or clip.sha256, "machine": names.get(clip.machine or "", ""),
        "recorded_in": (clip.recorded_at or "")[:7], "duration_s": clip.duration_s, "rate_hz": clip.rate_hz, "codec": clip.codec,
        "phone": clip.capture.get("phone", ""), "story": "; ".join(f"{m.at_s:g} {m.word}" for m in clip.story),
        "gauges": "; ".join(f"{k}={v:g}" for k, v in clip.gauges.items()), "good": "yes" if clip.good_at else "",
        "complete": "yes" if clip.complete_at else "", "silenced": "; ".join(f"{a:g}-{b:g}" for a, b in spans), "consent": "share",
    }  # fmt: skip


def _speech(report: Any) -> list[tuple[float, float]]:
    """Return where the ear heard speech, however unsure, with a little around it."""
    spans: list[tuple[float, float]] = []
    for event in sorted(report.get("events", ()), key=lambda e: e["onset_s"]):
        if event["sound"] not in _SILENCED:
            continue
        start, end = max(0.0, event["onset_s"] - _AROUND_S), event["offset_s"] + _AROUND_S
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
        else:
            spans.append((start, end))
    return [(round(a, 2), round(b, 2)) for a, b in spans]


def _write_sound(library: Library, clip: ClipRecord, folder: Path, spans: list[tuple[float, float]]) -> str:
    """Copy a clip's FLAC with some spans silenced; return its name, made of the copy's hash."""
    import soundfile

    part = folder / "sound.part"
    at = 0
    with (
        soundfile.SoundFile(library.vault.local(clip.flac_sha256)) as source,
        soundfile.SoundFile(part, "w", source.samplerate, 1, format="FLAC", subtype="PCM_16") as out,
    ):
        for block in source.blocks(blocksize=1 << 18, dtype="int16"):
            block = np.array(block)
            for start, end in spans:
                a, b = round(start * source.samplerate) - at, round(end * source.samplerate) - at
                block[max(0, a) : max(0, b)] = 0
            out.write(block)
            at += len(block)
    name = f"{hashlib.sha256(part.read_bytes()).hexdigest()}.flac"
    part.rename(folder / name)
    return name


def write_checksums(folder: Path) -> None:
    """Write `checksums.sha256` over all files of a folder, as `sha256sum` reads it."""
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder).as_posix()}"
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "checksums.sha256"
    ]
    (folder / "checksums.sha256").write_text("\n".join(lines) + "\n", encoding="utf-8")
