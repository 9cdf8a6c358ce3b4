"""The folder of real recordings (none is an espresso machine), read by its manifests."""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class RealClip:
    """`kind` is the source's folder name, `nearest` the machine sound it stands in for (or empty)."""

    path: Path
    kind: str
    nearest: str
    fold: str
    recording: str
    duration_s: float | None


def clips_folder() -> Path | None:
    """Folder given by LISTEN_CLIPS, or `shared/clips` beside the checkout; None if there is none."""
    root = Path(__file__).resolve().parents[2]
    for candidate in (os.environ.get("LISTEN_CLIPS"), root.parent / "shared" / "clips"):
        if candidate and (Path(candidate) / "MANIFEST.csv").is_file():
            return Path(candidate)
    return None


def real_clips(folder: Path) -> list[RealClip]:
    """All clips of both manifests; the public ten-class set has its published folds as `fold`."""
    clips = []
    with (folder / "MANIFEST.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            clips.append(
                RealClip(
                    folder / row["path"],
                    row["path"].split("/")[1],
                    row["nearest"],
                    row["fold"],
                    row["recording"],
                    float(row["duration_s"]),
                )
            )
    with (folder / "env10.csv").open(encoding="utf-8") as file:
        clips += [
            RealClip(
                folder / r["path"], f"env_{r['label']}", "", f"env{r['fold']}", f"env/{r['recording']}", None
            )
            for r in csv.DictReader(file)
        ]
    return clips
