"""CSV as people and spreadsheets write it: read with checks, written so that no cell runs as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from listen.errors import LibraryError

_LARGEST = 64_000_000
#: What a spreadsheet would take for a formula, some of them also after spaces or in full width
#: (OWASP, CSV Injection); the apostrophe itself is guarded so that reading gives back what was written.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")


def read_table(path: Path, *, needed: Sequence[str], known: Sequence[str]) -> list[dict[str, str]]:
    """Read a CSV file with a heading; comma or semicolon, with or without byte order mark.

    Raises
    ------
    LibraryError
        Not readable, a column missing or unknown, or a row of another length.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise LibraryError(f"{path.name}: the table is far too large; split it.")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise LibraryError(f"{path.name}: the table is not in UTF-8; save it as 'CSV UTF-8'.") from error
    except OSError as error:
        raise LibraryError(f"{path.name}: the table cannot be read ({error.strerror}).") from error
    first = text.partition("\n")[0]
    try:
        # Not by `splitlines`: a cell may hold any character that other alphabets end a line with.
        lines = list(
            csv.reader(
                io.StringIO(text, newline=""), delimiter=";" if first.count(";") > first.count(",") else ","
            )
        )
    except csv.Error as error:
        raise LibraryError(
            f"{path.name}: the table is damaged ({error}); save it again as CSV UTF-8."
        ) from error
    if not lines:
        raise LibraryError(f"{path.name}: the table is empty; its first line names the columns.")
    heading = [name.strip().lower() for name in lines[0]]
    for name in needed:
        if name not in heading:
            raise LibraryError(
                f"{path.name}: there is no column {name!r}; the columns are {', '.join(known)}."
            )
    for name in heading:
        if name not in known:
            raise LibraryError(
                f"{path.name}: column {name[:40]!r} is not known; the columns are {', '.join(known)}."
            )
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        if len(line) != len(heading):
            raise LibraryError(
                f"{path.name}, line {number}: {len(line)} cells where the heading has {len(heading)}."
            )
        rows.append(
            {k: _plain(cell.strip()) for k, cell in zip(heading, line, strict=True)} | {"line": str(number)}
        )
    return rows


def write_table(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    """Write a CSV file in UTF-8 with a heading; None is an empty cell."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow([_guarded(row.get(name)) for name in columns])


def _guarded(value: object) -> str:
    if value is None:
        return ""
    text = str(value)
    numeric = isinstance(value, int | float)
    return f"'{text}" if _runs(text) and not numeric else text


def _runs(text: str) -> bool:
    return text.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA)


def _plain(text: str) -> str:
    return text[1:] if text[:1] == "'" and _runs(text[1:]) else text


def number(text: str, where: str) -> float:
    """Read a number with a point or a comma."""
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise LibraryError(f"{where}: {text[:30]!r} is no number.") from error
