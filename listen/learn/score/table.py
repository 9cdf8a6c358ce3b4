"""The sheet as text: a summary for the terminal and the same figures as a table for a model card."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from listen.errors import BadParameter

BEGIN, END = "<!-- scores -->", "<!-- /scores -->"
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


def figure(row: Mapping[str, Any] | None, digits: int = 2) -> str:
    """Write a value with its interval, and its counts where it is a share."""
    if not row or row.get("value") is None:
        return "–"
    if row["low"] is None:
        return f"{row['value']:.{digits}f}"
    text = f"{row['value']:.{digits}f} [{row['low']:.{digits}f}, {row['high']:.{digits}f}]"
    if "n" not in row:
        return text
    of = f", {row['recordings']} recordings" if row["recordings"] != row["n"] else ""
    return f"{text} ({row['hits']}/{row['n']}{of})"


def by_score(part: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """Return the sounds of a set, the worst F1 first; then those with few recordings, then those never there."""

    def order(item: tuple[str, Any]) -> tuple[bool, bool, float, str]:
        word, row = item
        value = row["f1"]["value"]
        return row["recordings"] == 0, word in part["too_few"], 2.0 if value is None else value, word

    return sorted(part["sounds"].items(), key=order)


def card_table(sheet: Mapping[str, Any]) -> str:
    """Return the Markdown that stands between the markers of a card."""
    lines = []
    for name, part in sheet["sets"].items():
        lines += [f"### Set `{name}`", "", part["about"], ""]
        if "not_scored" in part:
            lines += [f"Not scored: {part['not_scored']}", ""]
            continue
        lines += [
            f"{part['clips']} clips, {part['recordings']} recordings. Intervals are 95 %; `touched`: labels under some event of their sound, however its edges lie.",
            "",
        ]
        if "verdicts" in part:
            lines += ["| clips as a whole | share |", "|---|---|"]
            lines += [f"| {text} | {figure(row)} |" for text, row in verdict_rows(part["verdicts"])]
            lines += [""]
        lines += [
            "| sound, worst first | counted by | recordings | precision | recall | F1 | average precision | touched |",
            "|---|---|---|---|---|---|---|---|",
        ]
        for sound, row in by_score(part):
            if row["recordings"] == 0:
                continue
            few = " (few: listed only)" if sound in part["too_few"] else ""
            lines.append(
                f"| {sound}{few} | {row['counted']} | {row['recordings']} | {figure(row['precision'])} | {figure(row['recall'])} "
                f"| {figure(row['f1'])} | {figure(row['average_precision'])} | {figure(row['touched'])} |"
            )
        lines += [""]
        false = [
            f"{s} {part['sounds'][s]['false']}" for s in part["never_there"] if part["sounds"][s]["false"]
        ]
        if false:
            lines += ["Heard where it was in no clip (times): " + ", ".join(false) + ".", ""]
        lines += [
            "| family of sounds | mean F1 | events | Brier skill | calibration slope |",
            "|---|---|---|---|---|",
        ]
        for family, row in part["calibration"].items():
            mean = part["families"].get(family, {}).get("mean_f1")
            lines.append(
                f"| {family} | {figure(mean)} | {row['events']} | {figure(row.get('brier_skill'))} | {figure(row.get('slope'))} |"
            )
        if "mains" in part:
            lines += ["", f"Mains, where a sound is locked to it: {mains_text(part['mains'])}."]
        lines += ["", f"Unfamiliar sounds: {unfamiliar_text(part['unfamiliar'])}.", ""]
    if sheet.get("realness"):
        lines += ["### Synthetic against real", "", sheet["realness"]["about"], ""]
        lines += [
            "| sound | real recordings | synthetic | told apart (area) | differs most |",
            "|---|---|---|---|---|",
        ]
        for sound, row in sheet["realness"]["sounds"].items():
            first = row["differ_most"][0]["measure"] if row["differ_most"] else "–"
            lines.append(
                f"| {sound} | {row['real_recordings']} | {row['synthetic_recordings']} | {figure(row.get('area'))} | {first} |"
            )
        lines += [""]
    return "\n".join(lines).rstrip() + "\n"


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


def fill_card(text: str, sheet: Mapping[str, Any]) -> str:
    """Put the score table between the markers of a card.

    Raises
    ------
    BadParameter
        When the card lacks the markers.
    """
    if len(re.findall(re.escape(BEGIN), text)) != 1 or text.find(END) < text.find(BEGIN):
        raise BadParameter(
            f"The card needs one line {BEGIN} and after it one line {END}: the table goes between them."
        )
    head, rest = text.split(BEGIN)
    return f"{head}{BEGIN}\n{card_table(sheet)}{END}{rest.split(END, 1)[1]}"


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
            cells = (_short(row[k]) for k in ("precision", "recall", "f1", "average_precision", "touched"))
            lines.append(
                f"  {sound:13}{mark} {row['recordings']:4d}  " + " ".join(f"{c:18}" for c in cells).rstrip()
            )
        if part["too_few"]:
            lines.append("  * fewer recordings than an average needs")
        for family, row in part["calibration"].items():
            mean = part["families"].get(family, {}).get("mean_f1")
            given = (
                f"Brier skill {_short(row['brier_skill'])}, slope {_short(row['slope'])}"
                if "slope" in row
                else row["not_given"]
            )
            lines.append(f"  {family:10} mean F1 {_short(mean)}; {row['events']} events, {given}")
        if "mains" in part:
            lines.append(f"  mains, where a sound is locked to it: {mains_text(part['mains'])}")
        lines += [f"  unfamiliar sounds: {unfamiliar_text(part['unfamiliar'])}", ""]
    if sheet.get("realness"):
        lines.append(f"SYNTHETIC AGAINST REAL: {sheet['realness']['about']}")
        for sound, row in sheet["realness"]["sounds"].items():
            text = _short(row["area"]) if "area" in row else row["not_given"]
            lines.append(
                f"  {sound:14} real {row['real_recordings']:3d}, synthetic {row['synthetic_recordings']:3d}: told apart {text}"
            )
        lines.append("")
    return "\n".join(lines)


def _short(row: Mapping[str, Any] | None) -> str:
    if not row or row.get("value") is None:
        return "–"
    return f"{row['value']:.2f}" + (
        f" [{row['low']:.2f}, {row['high']:.2f}]" if row["low"] is not None else ""
    )
