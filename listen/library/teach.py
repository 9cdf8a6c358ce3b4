"""Which clip to label next: the one that would teach the ear most, with the reason in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import func, select

from listen.library import clips as c
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.opinions import latest_opinions
from listen.library.outcomes import latest
from listen.library.records import ClipRecord
from listen.library.similar import RowCache

#: Labels of one word after which one more teaches half as much.
_HALF_AFTER = 10.0


@dataclass(frozen=True, slots=True)
class Lesson:
    """A clip worth labelling; `worth` only orders, `why` says it, `proposals` are the ear's own events."""

    clip: ClipRecord
    worth: float
    why: tuple[str, ...]
    proposals: tuple[Mapping[str, Any], ...]


def next_to_label(database: Database, cache: RowCache, n: int = 10) -> tuple[Lesson, ...]:
    """Return the clips whose labels would teach most, among those not called complete and not kept for tests.

    What counts: events of which the ear is unsure, words that few labels name, a sound far from all
    that is labelled, and an outcome that contradicts the tool's opinion. A clip much like one that is
    already on the list comes later.
    """
    with database.reading() as connection:
        k, lab = t.clips.c, t.labels.c
        rows = connection.execute(
            select(t.clips)
            .where(k.complete_at.is_(None), k.fold == "train", k.consent != "shop")
            .order_by(k.sha256)
        ).all()
        counts: dict[str, int] = {
            row.sound: int(row.n)
            for row in connection.execute(
                select(lab.sound, func.count().label("n"))
                .where(lab.withdrawn_at.is_(None))
                .group_by(lab.sound)
            )
        }
        labelled = set(connection.scalars(select(k.sha256).where(k.complete_at.is_not(None))))
        opinions = latest_opinions(connection)
        outcomes = latest(connection)
        kept, _ = cache.get(connection)
    middle = _middles(kept.x, kept.clip, len(kept.hashes))
    place = {h: i for i, h in enumerate(kept.hashes)}
    known = [place[h] for h in labelled if h in place]
    lessons = []
    for row in rows:
        opinion = opinions.get(row.sha256)
        events = list(opinion.report.get("events", ())) if opinion else []
        worth, why = _of_events(events, counts)
        if row.sha256 in place and known:
            near = float(np.sqrt(((middle[known] - middle[place[row.sha256]]) ** 2).mean(axis=1)).min())
            worth += near
            if near > 1.0:
                why.append("unlike every clip that is labelled")
        outcome = outcomes.get(row.sha256)
        if outcome and opinion and outcome.state == "resolved" and opinion.verdict == "normal":
            worth += 1.0
            why.append("a fault was confirmed, and the tool called the clip normal")
        lessons.append(Lesson(c.record(row), round(worth, 3), tuple(why), tuple(events)))
    lessons.sort(key=lambda lesson: (-lesson.worth, lesson.clip.sha256))
    return tuple(_spread(lessons, middle, place, n))


def _of_events(events: list[Mapping[str, Any]], counts: Mapping[str, int]) -> tuple[float, list[str]]:
    worth, why = 0.0, []
    unsure: dict[str, float] = {}
    for event in events:
        p = float(event["probability"])
        # 1 where the ear has no idea, 0 where it is sure; weighed by how few labels name the word.
        doubt = 1 - abs(2 * p - 1)
        rare = _HALF_AFTER / (_HALF_AFTER + counts.get(str(event["sound"]), 0))
        unsure[str(event["sound"])] = max(unsure.get(str(event["sound"]), 0.0), doubt * rare)
        worth += 0.1 * rare
    worth = min(worth, 1.0) + sum(sorted(unsure.values(), reverse=True)[:3])
    doubtful = [word for word, value in sorted(unsure.items(), key=lambda item: -item[1]) if value > 0.2][:3]
    if doubtful:
        why.append("the ear is unsure of " + ", ".join(word.replace("_", " ") for word in doubtful))
    rare_words = sorted({str(e["sound"]) for e in events if counts.get(str(e["sound"]), 0) < 3})
    if rare_words:
        why.append("hardly any label names " + ", ".join(word.replace("_", " ") for word in rare_words[:3]))
    return worth, why


def _middles(x: np.ndarray, clip: np.ndarray, n: int) -> np.ndarray:
    """Return the mean row of each clip [shape=(n, width)]."""
    out = np.zeros((n, x.shape[1]), np.float32)
    np.add.at(out, clip, x)
    return out / np.maximum(np.bincount(clip, minlength=n), 1)[:, None]


def _spread(lessons: list[Lesson], middle: np.ndarray, place: Mapping[str, int], n: int) -> list[Lesson]:
    """Take the best, putting off those that lie close to one already taken."""
    taken: list[Lesson] = []
    later: list[Lesson] = []
    for lesson in lessons:
        if len(taken) == n:
            break
        mine = place.get(lesson.clip.sha256)
        near = mine is not None and any(
            float(np.sqrt(((middle[mine] - middle[place[other.clip.sha256]]) ** 2).mean())) < 0.35
            for other in taken
            if other.clip.sha256 in place
        )
        (later if near else taken).append(lesson)
    return (taken + later)[:n]
