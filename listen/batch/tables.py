"""The results as tables: CSV for a spreadsheet, Parquet for whoever reckons with ten thousand of them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from listen.batch.plan import Context, Item
from listen.batch.store import folder_in_words, whole_file
from listen.batch.task import Outcome
from listen.library.table_io import write_table

#: Column → kind; a line a recording, in the order of the plan.
COLUMNS: dict[str, str] = {
    "path": "text", "status": "text", "level": "text", "verdict": "text", "finding": "text", "symptom": "text",
    "because": "text", "say_first": "text", "retake": "text", "sentence": "text", "duration_s": "number",
    "mains_hz": "count", "sounds": "text", "n_findings": "count", "machine": "text", "did": "text", "gauge": "text",
    "said": "text", "model": "text", "clip_sha256": "text", "identity": "text",
}  # fmt: skip
CSV_NAME, PARQUET_NAME = "results.csv", "results.parquet"


@dataclass(frozen=True, slots=True)
class Row:
    """One recording with its outcome; `identity` is empty where the file could not be read."""

    item: Item
    outcome: Outcome
    identity: str = ""

    @property
    def level(self) -> str:
        """The level of a clip that was heard, else an empty text."""
        return "" if self.outcome.report is None else str(json.loads(self.outcome.report)["level"])


def write_tables(folder: Path, rows: Sequence[Row]) -> tuple[Path, Path]:
    """Write both tables, each there whole or not at all.

    Returns
    -------
    (Path, Path)
        The CSV file and the Parquet file; the latter holds each report as JSON besides.

    Raises
    ------
    BadParameter
        The folder cannot be written.
    """
    values = [as_values(row) for row in rows]
    csv_path, parquet_path = folder / CSV_NAME, folder / PARQUET_NAME
    with folder_in_words(folder):
        with whole_file(csv_path) as part:
            write_table(part, tuple(COLUMNS), values)
        with whole_file(parquet_path) as part:
            _write_parquet(part, values, [row.outcome.report for row in rows])
    return csv_path, parquet_path


def as_values(row: Row) -> dict[str, Any]:
    """Return one line of the tables; what is not known is None."""
    told = row.item.context
    values: dict[str, Any] = dict.fromkeys(COLUMNS) | {
        "path": row.item.shown, "status": row.outcome.status, "sentence": row.outcome.sentence or None,
        "machine": row.item.machine_name or None, "did": _marks(told) or None, "gauge": _gauges(told) or None,
        "said": told.said or None, "identity": row.identity or None,
    }  # fmt: skip
    if row.outcome.report is None:
        return values
    report = json.loads(row.outcome.report)
    findings = report["findings"]
    first = findings[0] if findings else {"code": None, "symptom": None}
    counts = Counter(event["sound"] for event in report["events"])
    return values | {
        "level": report["level"], "verdict": report["verdict"], "finding": first["code"], "symptom": first["symptom"],
        "because": report["because"], "say_first": report["say_first"], "retake": report["retake"],
        "duration_s": report["clip"]["duration_s"], "mains_hz": report["mains"]["hz"], "n_findings": len(findings),
        "sounds": "; ".join(f"{sound} {n}" for sound, n in sorted(counts.items())) or None,
        "model": report["model"]["version"], "clip_sha256": report["clip"]["sha256"],
    }  # fmt: skip


def _marks(told: Context) -> str:
    return "; ".join(f"{int(m.at_s // 60)}:{m.at_s % 60:05.2f} {m.word}" for m in told.marks)


def _gauges(told: Context) -> str:
    return "; ".join(f"{name}={bar:g}" for name, bar in sorted(told.gauges.items()))


def _write_parquet(path: Path, values: Sequence[dict[str, Any]], reports: Sequence[str | None]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {"text": pa.string(), "number": pa.float64(), "count": pa.int64()}
    fields = {name: pa.array([v[name] for v in values], kinds[kind]) for name, kind in COLUMNS.items()}
    fields["report"] = pa.array(list(reports), pa.string())
    pq.write_table(pa.table(fields), path, compression="zstd")
