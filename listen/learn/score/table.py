"""The sheet as text: how figures are written, in what order, and a summary for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_VERDICT_ROWS = (
    ("right_among_answered", "verdict right among answered"),
    ("coverage", "answered, of those that carry their answer"),
    ("finding_first", "right finding first"),
    ("finding_in_three", "right finding among three"),
    ("wrong_without_carrying", "wrong where the answer is not carried"),
    ("cannot_tell_without_machine", "no machine in it: cannot tell"),
    ("abnormal_without_machine", "no machine in it: called abnormal"),
)
_STOP_ROWS = (
    ("from_sound_where_called_for", "stop from sound where called for"),
    ("false_from_sound", "false stop from sound"),
    ("false_from_gauge_or_story", "false stop from gauge or story"),
)


def value_text(row: Mapping[str, Any] | None, digits: int = 2) -> str:
    """Write a value with its interval; a dash where there is none."""
    if not row or row.get("value") is None:
        return "–"
    if row["low"] is None:
        return f"{row['value']:.{digits}f}"
    return f"{row['value']:.{digits}f} [{row['low']:.{digits}f}, {row['high']:.{digits}f}]"


def counts_text(row: Mapping[str, Any] | None) -> str:
    """Write what a share was counted from, with its recordings where they are fewer; nothing for what is no share."""
    if not row or row.get("value") is None or "n" not in row:
        return ""
    of = f", {row['recordings']} recordings" if row["recordings"] != row["n"] else ""
    return f"{row['hits']}/{row['n']}{of}"


def figure(row: Mapping[str, Any] | None, digits: int = 2) -> str:
    """Write a value with its interval, and its counts where it is a share."""
    counts = counts_text(row)
    return value_text(row, digits) + (f" ({counts})" if counts else "")


def by_score(part: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """Return the sounds of a set, the worst F1 first; then those with few recordings, then those never there."""

    def order(item: tuple[str, Any]) -> tuple[bool, bool, float, str]:
        word, row = item
        value = row["f1"]["value"]
        return row["recordings"] == 0, word in part["too_few"], 2.0 if value is None else value, word

    return sorted(part["sounds"].items(), key=order)


def unfamiliar_text(row: Mapping[str, Any] | str) -> str:
    """Write the figure for unfamiliar sounds, or that there is none."""
    return row if isinstance(row, str) else figure(row["area"])


def verdict_rows(verdicts: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    """Return the shares of whole clips that were asked of this set, with their words."""
    rows = [(text, verdicts[key]) for key, text in _VERDICT_ROWS]
    rows += [(text, verdicts["stops"][key]) for key, text in _STOP_ROWS]
    return [(text, row) for text, row in rows if row["n"]]


def mains_text(row: Mapping[str, Any]) -> str:
    """Write how the mains was measured where a sound is locked to it."""
    error = row["middle_error_hz"]
    return f"measured {figure(row['measured'])}, right among these {figure(row['right'])}" + (
        f", {error:.2f} Hz off in the middle" if error is not None else ""
    )


def summary(sheet: Mapping[str, Any]) -> str:
    """Return the sheet for a terminal of 100 columns: sets apart, worst sounds first."""
    lines = []
    for name, part in sheet["sets"].items():
        lines += [f"{name.upper()}: {part['about']}"]
        if "not_scored" in part:
            lines += [f"  not scored: {part['not_scored']}", ""]
            continue
        lines += [
            f"  {part['clips']} clips, {part['recordings']} recordings; [95 % interval] (hits/n); touched: found, however the edges lie"
        ]
        if "verdicts" in part:
            lines += [f"  {text:44} {figure(row)}" for text, row in verdict_rows(part["verdicts"])]
            for truth, row in part["verdicts"]["table"].items():
                if sum(row.values()):
                    lines.append(f"    truth {truth:12}" + "".join(f"  {v} {n:3d}" for v, n in row.items()))
        lines.append(
            f"  {'sound':14} {'rec.':>4}  {'precision':18} {'recall':18} {'F1':18} {'av. prec.':18} touched"
        )
        for sound, row in by_score(part):
            if row["recordings"] == 0:
                lines.append(f"  {sound:14}    0  in no clip, heard {row['false']} times")
                continue
            mark = "*" if sound in part["too_few"] else " "
            cells = (
                value_text(row[k]) for k in ("precision", "recall", "f1", "average_precision", "touched")
            )
            lines.append(
                f"  {sound:13}{mark} {row['recordings']:4d}  " + " ".join(f"{c:18}" for c in cells).rstrip()
            )
        if part["too_few"]:
            lines.append("  * fewer recordings than an average needs")
        for family, row in part["calibration"].items():
            mean = part["families"].get(family, {}).get("mean_f1")
            given = (
                f"Brier skill {value_text(row['brier_skill'])}, slope {value_text(row['slope'])}"
                if "slope" in row
                else row["not_given"]
            )
            lines.append(f"  {family:10} mean F1 {value_text(mean)}; {row['events']} events, {given}")
        if "mains" in part:
            lines.append(f"  mains, where a sound is locked to it: {mains_text(part['mains'])}")
        lines += [f"  unfamiliar sounds: {unfamiliar_text(part['unfamiliar'])}", ""]
    if sheet.get("realness"):
        lines.append(f"SYNTHETIC AGAINST REAL: {sheet['realness']['about']}")
        for sound, row in sheet["realness"]["sounds"].items():
            text = value_text(row["area"]) if "area" in row else row["not_given"]
            lines.append(
                f"  {sound:14} real {row['real_recordings']:3d}, synthetic {row['synthetic_recordings']:3d}: told apart {text}"
            )
        lines.append("")
    return "\n".join(lines)
