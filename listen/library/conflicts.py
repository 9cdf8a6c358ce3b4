"""Statements that cannot all be true: pointed out, never settled by the program."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select

from listen.library import tables as t
from listen.library.engine import Database
from listen.library.labels import label_record
from listen.library.opinions import latest_opinions
from listen.library.outcomes import latest
from listen.library.records import LabelRecord, OpinionRecord

#: Sounds that cannot be two names of one thing at one time: a hum either is locked to the mains or slips.
_EXCLUDE: tuple[frozenset[str], ...] = (
    frozenset({"mains_hum", "motor_run"}),
    frozenset({"hiss", "blast", "burst"}),
    frozenset({"click", "thump", "bang"}),
)
#: From this probability on the ear's contrary opinion is worth a second look.
_SURE = 0.9


@dataclass(frozen=True, slots=True)
class Conflict:
    """`kind`: labels, ear, outcome or good. `text` says who says what."""

    clip: str
    kind: str
    text: str
    labels: tuple[int, ...] = ()


def conflicts(database: Database, clip: str | None = None) -> tuple[Conflict, ...]:
    """Return what contradicts what, in one clip (full hash) or in all.

    Looked for: two persons who name the same span differently or say yes and no to one sound; a label
    that the ear contradicts with certainty (and the reverse); a clip called known-good with a confirmed
    fault, or with an opinion of `stop`.
    """
    with database.reading() as connection:
        lab, k = t.labels.c, t.clips.c
        query = select(t.labels).where(lab.withdrawn_at.is_(None)).order_by(lab.clip, lab.id)
        good = select(k.sha256).where(k.good_at.is_not(None))
        if clip is not None:
            query, good = query.where(lab.clip == clip), good.where(k.sha256 == clip)
        by_clip: dict[str, list[LabelRecord]] = defaultdict(list)
        for row in connection.execute(query):
            by_clip[row.clip].append(label_record(row))
        good_ones = sorted(connection.scalars(good))
        opinions = latest_opinions(connection)
        outcomes = latest(connection)
    found: list[Conflict] = []
    for sha256, labels in by_clip.items():
        found += _between_labels(sha256, labels)
        if sha256 in opinions:
            found += _with_ear(sha256, labels, opinions[sha256])
    for sha256 in good_ones:
        outcome, opinion = outcomes.get(sha256), opinions.get(sha256)
        if outcome is not None and outcome.clip == sha256 and outcome.state == "resolved":
            what = outcome.part or outcome.cause
            found.append(
                Conflict(
                    sha256,
                    "outcome",
                    f"called known-good, and {outcome.confirmed_by} confirmed a fault in it ({what})",
                )
            )
        if opinion is not None and opinion.level == "stop":
            found.append(
                Conflict(
                    sha256, "good", "called known-good, and the tool says stop: it is left out of baselines"
                )
            )
    return tuple(found)


def _between_labels(sha256: str, labels: Sequence[LabelRecord]) -> list[Conflict]:
    found = []
    for n, a in enumerate(labels):
        for b in labels[n + 1 :]:
            if not _overlap(a, b):
                continue
            yes_and_no = a.sound == b.sound and a.present != b.present
            two_names = (
                a.present
                and b.present
                and a.sound != b.sound
                and any({a.sound, b.sound} <= s for s in _EXCLUDE)
            )
            if yes_and_no or two_names:
                found.append(Conflict(sha256, "labels", f"{_says(a)}; {_says(b)}", (a.id, b.id)))
    return found


def _with_ear(sha256: str, labels: Sequence[LabelRecord], opinion: OpinionRecord) -> list[Conflict]:
    found = []
    for label in labels:
        if label.present:
            continue
        for event in opinion.report.get("events", ()):
            heard = event["sound"] == label.sound and event["probability"] >= _SURE
            if heard and event["onset_s"] <= label.offset_s and event["offset_s"] >= label.onset_s:
                text = f"{_says(label)}; the ear hears it at {event['onset_s']:.1f} s and is sure"
                found.append(Conflict(sha256, "ear", text, (label.id,)))
                break
    return found


def _overlap(a: LabelRecord, b: LabelRecord) -> bool:
    shared = min(a.offset_s, b.offset_s) - max(a.onset_s, b.onset_s)
    shorter = min(a.offset_s - a.onset_s, b.offset_s - b.onset_s)
    # Moments agree within the tolerance of an onset, spans when most of the shorter one is shared.
    return shared >= -0.05 if shorter < 0.1 else shared > 0.5 * shorter


def _says(label: LabelRecord) -> str:
    word = label.sound.replace("_", " ")
    return f"{label.author} hears {'' if label.present else 'no '}{word} from {label.onset_s:.1f} to {label.offset_s:.1f} s"
