"""Figures for a model card or a README: Markdown that stands between two markers and is never typed by hand.

A text may hold any of three blocks, each between `<!-- NAME -->` and `<!-- /NAME -->`:
`scores` (all figures), `scores in short` (a row a set) and `model` (what was scored).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from listen.errors import BadParameter
from listen.learn.score.table import by_score, figure, mains_text, unfamiliar_text, verdict_rows

#: Sounds that a row of the short table names.
WORST = 5


def marks(block: str) -> tuple[str, str]:
    """Return the two markers of a block."""
    return f"<!-- {block} -->", f"<!-- /{block} -->"


def whole_table(sheet: Mapping[str, Any]) -> str:
    """Return all figures of all sets as Markdown, the worst sounds first."""
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


def short_table(sheet: Mapping[str, Any]) -> str:
    """Return a row a set: verdicts, stops, and its worst sounds."""
    lines = [
        "| measured on | recordings | verdict right among answered | answered, of those that carry their answer | stop where called for | false stop from sound | worst sounds (F1) |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, part in sheet["sets"].items():
        if "not_scored" in part:
            lines.append(f"| `{name}`: {part['about']} | – | not scored: {part['not_scored']} | | | | |")
            continue
        cells = ["–"] * 4
        if "verdicts" in part:
            v = part["verdicts"]
            rows = (v["right_among_answered"], v["coverage"], v["stops"]["from_sound_where_called_for"], v["stops"]["false_from_sound"])  # fmt: skip
            cells = [figure(row) for row in rows]
        worst = [
            f"{word} {figure(row['f1'])}"
            for word, row in by_score(part)
            if row["recordings"] and word not in part["too_few"]
        ][:WORST]
        lines.append(
            f"| `{name}`: {part['about']} | {part['recordings']} | {' | '.join(cells)} | {', '.join(worst)} |"
        )
    return "\n".join(lines) + "\n"


def model_lines(sheet: Mapping[str, Any]) -> str:
    """Return what was scored: version, hash, training, heads."""
    model = sheet["model"]
    lines = [
        f"- Version {model['version']}, SHA-256 `{model['sha256']}`.",
        f"- Trained on {model['trained_on']}.",
    ]
    for name, head in model["heads"].items():
        lines.append(
            f"- Head `{name}`: {head['layers']} layers, {len(head['features'])} measures in, "
            f"{len(head['labels'])} sounds out: {', '.join(head['labels'])}."
        )
    lines.append(f"- Arrays: {model['bytes'] / 1000:.0f} kB.")
    return "\n".join(lines) + "\n"


BLOCKS: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "scores": whole_table,
    "scores in short": short_table,
    "model": model_lines,
}


def blocks_of(text: str) -> dict[str, str]:
    """Return what stands in each block of a text.

    Raises
    ------
    BadParameter
        A marker stands alone, twice, or after its end.
    """
    found = {}
    for block in BLOCKS:
        begin, end = marks(block)
        if begin not in text and end not in text:
            continue
        inner = re.findall(re.escape(begin) + r"\n?(.*?)" + re.escape(end), text, re.S)
        if len(inner) != 1 or text.count(begin) != 1 or text.count(end) != 1:
            raise BadParameter(f"The card needs one line {begin} and after it one line {end}.")
        found[block] = inner[0]
    return found


def fill(text: str, sheet: Mapping[str, Any]) -> str:
    """Put the figures of a sheet into the blocks of a text; all else stays as it is.

    Raises
    ------
    BadParameter
        The text has no block, or a broken one.
    """
    held = blocks_of(text)
    if not held:
        names = ", ".join(marks(block)[0] for block in BLOCKS)
        raise BadParameter(f"The card has none of the markers {names}: figures go between one and its end.")
    for block in held:
        begin, end = marks(block)
        head, rest = text.split(begin)
        text = f"{head}{begin}\n{BLOCKS[block](sheet)}{end}{rest.split(end, 1)[1]}"
    return text
