"""Results on the disk: one file a result, there whole or not at all, so that a kill loses only what was at work."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from listen.batch.task import HEARD, UNUSABLE, Outcome
from listen.errors import BadParameter
from listen.report.plain import plain_text

FORMAT = "listen-batch/1"


class Results:
    """The folder of results.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.

    Raises
    ------
    BadParameter
        From its methods, when the folder cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._clips = folder / "clips"
        with self._in_words():
            self._clips.mkdir(parents=True, exist_ok=True)

    def get(self, identity: str) -> Outcome | None:
        """Return the outcome that is there, None where there is none or it is not whole."""
        try:
            found = json.loads(self._path(identity).read_text(encoding="utf-8"))
            if found["format"] != FORMAT or found["identity"] != identity:
                return None
            report = found["report"]
            line = (
                json.dumps(report, ensure_ascii=True, separators=(",", ":")) if report is not None else None
            )
            status = str(found["status"])
            whole = (status == HEARD) == (line is not None) and status in (HEARD, UNUSABLE)
            return Outcome(status, line, str(found["sentence"])) if whole else None
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def put(self, identity: str, outcome: Outcome) -> None:
        """Keep an outcome."""
        report = json.loads(outcome.report) if outcome.report is not None else None
        body = {
            "format": FORMAT, "identity": identity, "status": outcome.status, "sentence": outcome.sentence, "report": report,
        }  # fmt: skip
        path = self._path(identity)
        with self._in_words():
            path.parent.mkdir(exist_ok=True)
            with whole_file(path) as part:
                part.write_text(
                    json.dumps(body, ensure_ascii=True, separators=(",", ":")) + "\n", encoding="ascii"
                )

    def _path(self, identity: str) -> Path:
        # Two signs a folder: ten thousand files in one folder are slow on some disks.
        return self._clips / identity[:2] / f"{identity}.json"

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        with folder_in_words(self.folder):
            yield


@contextmanager
def folder_in_words(folder: Path) -> Iterator[None]:
    """Turn what the disk says into a sentence."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadParameter(
            f"The folder of results {plain_text(str(folder))} cannot be written ({reason}): make room or name another "
            "folder; what is there is kept, and the same command goes on from it."
        ) from error


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a path to write to; the file gets its name when it is on the disk, and is removed on an error."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield part
        descriptor = os.open(part, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
