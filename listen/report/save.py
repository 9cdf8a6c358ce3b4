"""Write a report into a folder as NAME.html and NAME.json, never over another clip's files."""

from __future__ import annotations

import json
import os
import re
import tempfile
import unicodedata
from pathlib import Path

from listen.errors import BadParameter
from listen.report import html
from listen.report.plain import plain_text
from listen.report.to_dict import to_dict
from listen.types import Report

#: Names that some file systems keep for devices.
_RESERVED = re.compile(r"(?i)^(con|prn|aux|nul|com\d|lpt\d)$")


def file_stem(name: str) -> str:
    """Turn a clip's name into a file name without extension that every file system takes.

    >>> file_stem("../../bar 1/shot: 3.m4a")
    'shot- 3'
    """
    last = re.split(r"[/\\]", plain_text(name))[-1]
    last = re.sub(r"(?<=.)\.[A-Za-z0-9]{1,5}$", "", last)
    stem = unicodedata.normalize("NFC", re.sub(r'[<>:"|?*%]+', "-", last)).strip(" .-")
    while len(stem.encode()) > 120:
        stem = stem[:-1]
    if not stem or _RESERVED.match(stem.split(".")[0]):
        stem = f"clip-{stem}".rstrip("-")
    return stem


def save(report: Report, folder: Path) -> tuple[Path, Path]:
    """Write the HTML and the JSON of one report.

    The same clip heard again replaces its own files; a different clip of the
    same name gets part of its hash, then a number, added to the name.

    Parameters
    ----------
    report : Report
    folder : Path
        Made if it does not exist.

    Returns
    -------
    (Path, Path)
        The HTML file and the JSON file.

    Raises
    ------
    BadParameter
        When the folder cannot be made or written.
    """
    data = to_dict(report)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        stem = _free_stem(folder, file_stem(report.clip.name), report.clip.sha256)
        html_file, json_file = folder / f"{stem}.html", folder / f"{stem}.json"
        # JSON first: it carries the hash by which a later call knows whose name this is.
        _write(json_file, json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n")
        _write(html_file, html.render(report))
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadParameter(
            f"The report folder {plain_text(str(folder))} cannot be written ({reason}): "
            "name a folder that you may write to."
        ) from error
    return html_file, json_file


def _free_stem(folder: Path, stem: str, sha256: str) -> str:
    candidates = [stem, f"{stem}-{sha256[:8]}"]
    candidates += [f"{stem}-{sha256[:8]}-{number}" for number in range(2, 1000)]
    for candidate in candidates:
        if _is_free_or_own(folder, candidate, sha256):
            return candidate
    return f"{stem}-{sha256}"


def _is_free_or_own(folder: Path, stem: str, sha256: str) -> bool:
    json_file = folder / f"{stem}.json"
    if not json_file.exists():
        return not (folder / f"{stem}.html").exists()
    try:
        found = json.loads(json_file.read_text(encoding="utf-8"))
        return bool(found["clip"]["sha256"] == sha256)
    except (ValueError, KeyError, TypeError):
        return False


def _write(path: Path, text: str) -> None:
    """Write through a temporary file, so that a kill leaves the old file or the new one."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".writing-", suffix=path.suffix)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
