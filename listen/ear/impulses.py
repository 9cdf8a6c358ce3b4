"""Clicks, click trains, thumps and clatter from onsets.

A click falls back at once, whatever it starts; a mere step (a jet, a pump) has
no peak of its own. Clicks that
repeat 3 to 30 times a second are one train and no clicks of their own. Two
clicks within 40 ms are one command: relay and valve together (handbook
operate times of small relays and valves, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from listen.ear.bundle import Head
from listen.ear.click_trains import CLICK_FROM, hear_trains
from listen.ear.draft import Draft
from listen.features.around import stroke_inputs
from listen.features.collect import ClipFeatures
from listen.features.onsets import OnsetTable

_MERGE_S = 0.040
_FALL_DB = 5.0
#: Probability from which a click needs no falling peak.
_SURE_CLICK = 0.7
#: Probability from which it is one where something locked to the mains or a motor starts or stops: a valve or a
#: relay works there; and how far before and after such an edge its stroke may lie, s (common practice).
_EDGE_CLICK, _EDGE_BEFORE_S, _EDGE_AFTER_S = 0.4, 0.45, 0.15
#: How far a relay's stroke lies before the noise that grows out of it, s.
_LETS_IN_S = 1.0
#: Nothing is surer than this.
_SUREST = 0.97
#: Probability of a thump or a bang together, of a thump alone, and the rise, or the height of all of it, from
#: which it may be a bang.
_KNOCK_FROM, _THUMP_FROM, _BANG_DB, _BANG_HEIGHT_DB = 0.5, 0.3, 20.0, 30.0
#: A stroke this much over its surroundings is not passed over though the model has no word for it; how sure, an estimate.
_NAMELESS_BANG_DB, _NAMELESS_SURE = 50.0, 0.5
#: From here the model is sure that it is none: the start of a pump over a floor that the phone took away.
_NO_STROKE = 0.9
#: A loud onset is one of these strokes from here, all taken together: the louder, the less is asked for.
_STROKE_FROM, _STROKE_DB = (0.75, 0.5), (20.0, 45.0)
#: One that stands this far out and has not fallen back at once is no click, unless something starts there.
_NO_CLICK_DB = 30.0
#: One that stands this far out, is not over at once, and of which the model is not sure, is no click where nothing starts,
#: if it may be a knock at all.
_HEAVY_DB, _PERHAPS_KNOCK = 45.0, 0.25
#: Where a bang is that many times as likely as a thump, it may be fainter by so much.
_PLAINLY_BANG, _FAINTER_DB = 2.0, 5.0
#: A loud knock is a bang, which can call for a stop, where that is at least this much as likely as a thump.
_BANG_SHARE = 0.5
#: The same for one that stands as high as can be told, dB.
_LOUDEST_SHARE, _LOUDEST_DB = 0.35, 38.0
#: What falls this far within 25 and within 100 ms is over at once: however loud, no knock, whose body rings on.
#: Unless the model is that sure of a bang, and takes a click to be no likelier than this.
_SURE_BANG, _NO_LOUD_CLICK = 0.75, 0.35
_OVER_25_DB, _OVER_100_DB, _OVER_RISE_DB, _TO_FLOOR_DB = 20.0, 28.0, 15.0, 4.0
#: Onsets this dense and uneven are crockery, speech or music, not single clicks.
_CROWD_S, _CROWD = 1.0, 7
#: So are fewer in a longer time, if they keep no time: beans in a grinder, something knocked about.
_SLOW_CROWD_S, _SLOW_CROWD, _SLOW_CROWD_RHYTHM = 4.0, 6, 0.35
#: Longest time that it drips on behind the last drop heard, s.
_LAST_DROP_S = 1.5
#: Probability from which a stroke counts as perhaps a click, and how many of them are a crowd as well.
_PERHAPS_CLICK, _PERHAPS_CROWD = 0.1, 5


def falls_back(onsets: OnsetTable) -> np.ndarray:
    """True where the first peak falls at once: an impulse, no mere step [shape=(k,)]."""
    # What a click starts (a pump, a release) may well stay: only the first hundredths of a second decide.
    return (onsets.column("fall_25_db") >= _FALL_DB) | (onsets.column("fall_100_db") >= _FALL_DB + 4.0)


def hear_impulses(
    features: ClipFeatures, head: Head, edges_s: Sequence[float] = (), begins_s: Sequence[float] = ()
) -> tuple[list[Draft], np.ndarray]:
    """Name the onsets of a clip.

    Parameters
    ----------
    features : ClipFeatures
    head : Head
        The model's part for onsets; its labels are ear words.
    edges_s : sequence of float
        When something that a valve or a relay works with started or stopped.
    begins_s : sequence of float
        When a noise began that a valve or a relay may have let in: heating, a jet.

    Returns
    -------
    drafts : list of Draft
    perhaps_s : np.ndarray [shape=(k,)]
        When something was heard that may be a click, s: many of them in a noise are that noise's own.
    """
    onsets = features.onsets
    if not len(onsets.rows):
        return [], np.zeros(0)
    times = onsets.column("time_s").astype(float)
    short = falls_back(onsets)
    probability = head.probabilities(stroke_inputs(features))
    labels = list(head.labels)
    over = _over_at_once(onsets)
    probability = _loud_clicks(onsets, probability, labels, over)
    click = probability[:, labels.index("click")]
    drafts, used = hear_trains(onsets, short, click)
    # A peak hidden in what it starts (a pump at once) counts when the model is sure of it.
    click = np.where(short | (click >= _SURE_CLICK), click, 0.0)
    at_edge, rise_db = _near(times, edges_s), onsets.column("rise_db")
    switches = at_edge | _near(times, begins_s, _LETS_IN_S)
    knocks = probability[:, [n for n, word in enumerate(labels) if word in ("thump", "bang")]].sum(axis=1)
    lasts = ~over & ~switches & (rise_db >= _HEAVY_DB) & (knocks >= _PERHAPS_KNOCK)
    for group in _groups(times, ~used):
        best = group[int(np.argmax(click[group]))]
        # Very loud, not over at once, and nothing starts or stops there: hardly a valve.
        heavy = bool(lasts[best]) and click[best] < _SURE_CLICK
        if click[best] >= CLICK_FROM and not heavy:
            drafts.append(_click(onsets, int(best), float(click[best])))
            continue
        rings = heavy or bool((~short & ~switches & (rise_db >= _NO_CLICK_DB))[group].any())
        knock = _knock(onsets, probability, labels, group, rings)
        if knock is not None:
            drafts.append(knock)
            continue
        # What starts or stops with a valve or a relay has its click; a loud stroke is none of the room's.
        if click[best] >= _EDGE_CLICK and (at_edge[best] or _plainly(onsets, probability, labels, int(best))):
            drafts.append(_click(onsets, int(best), float(click[best])))
            continue
        name = labels[int(np.argmax(probability[best]))]
        if name in ("clatter", "drip") and probability[best].max() >= 0.5:
            drafts.append(_draft(name, onsets, int(best), float(probability[best].max())))
            continue
        loudest = int(group[int(np.argmax(rise_db[group]))])
        no_stroke = "other" in labels and probability[loudest, labels.index("other")] >= _NO_STROKE
        if short[loudest] and rise_db[loudest] >= _NAMELESS_BANG_DB and not no_stroke:
            # Over a floor that the phone has taken away every stroke is loud; a valve's lies where something starts.
            drafts.append(
                _click(onsets, loudest, _NAMELESS_SURE)
                if switches[loudest]
                else _draft("bang", onsets, loudest, _NAMELESS_SURE)
            )
    perhaps = times[short & ~used & (probability[:, labels.index("click")] >= _PERHAPS_CLICK)]
    return _gather(drafts, perhaps, edges_s), perhaps


def _near(times_s: np.ndarray, edges_s: Sequence[float], before_s: float = _EDGE_BEFORE_S) -> np.ndarray:
    """True where an onset lies at an edge that a valve or a relay makes [shape=(k,)]."""
    after_s = times_s[:, None] - np.asarray(edges_s, dtype=float)[None, :]
    return ((after_s >= -before_s) & (after_s <= _EDGE_AFTER_S)).any(axis=1)


def _over_at_once(onsets: OnsetTable) -> np.ndarray:
    """True where a stroke falls so far at once that it is no knock [shape=(k,)]."""
    height = onsets.column("rise_db")
    # A fainter one cannot fall further than to the floor.
    over: np.ndarray = (onsets.column("fall_25_db") >= np.minimum(_OVER_25_DB, height - _TO_FLOOR_DB)) & (
        onsets.column("fall_100_db") >= np.minimum(_OVER_100_DB, height - _TO_FLOOR_DB)
    )
    return over & (height >= _OVER_RISE_DB)


def _loud_clicks(
    onsets: OnsetTable, probability: np.ndarray, labels: list[str], over: np.ndarray
) -> np.ndarray:
    """Give to the click what the model gives to knocks that are over at once."""
    knocks = [labels.index(word) for word in ("thump", "bang") if word in labels]
    column = labels.index("click")
    if "bang" in labels:
        over = over & ~(
            (probability[:, labels.index("bang")] >= _SURE_BANG) & (probability[:, column] < _NO_LOUD_CLICK)
        )
    given = np.where(over[:, None], probability[:, knocks], 0.0)
    out = probability.copy()
    out[:, knocks] -= given
    out[:, column] = np.maximum(out[:, column], np.minimum(out[:, column] + given.sum(axis=1), _SUREST))
    return out


def _knock(
    onsets: OnsetTable, probability: np.ndarray, labels: list[str], group: np.ndarray, rings: bool = False
) -> Draft | None:
    """A thump or, hard and loud, a bang: what the two have together decides that it is one of them.

    A loud stroke that rings on (`rings`) is one as well, however much the model takes it for a click.
    """
    # A shop's own model may know only one of the two, or neither.
    bang, thump = (
        probability[group, labels.index(word)] if word in labels else np.zeros(len(group))
        for word in ("bang", "thump")
    )
    best = int(np.argmax(bang + thump))
    row = int(group[best])
    sure = float(bang[best] + thump[best])
    if sure < _KNOCK_FROM:
        # Between a click and a knock: that it is a stroke is surer than which.
        rather = rings or sure > probability[row, labels.index("click")]
        plain = _plainly(onsets, probability, labels, row) if rather else 0.0
        if not plain and thump[best] < _THUMP_FROM:
            return None
        sure = max(sure, plain)
    rise_db, height_db = float(onsets.column("rise_db")[row]), onsets.height_db(row)
    less_db = _FAINTER_DB if bang[best] >= _PLAINLY_BANG * thump[best] else 0.0
    loud = rise_db >= _BANG_DB or height_db >= _BANG_HEIGHT_DB - less_db
    share = _LOUDEST_SHARE if height_db >= _LOUDEST_DB else _BANG_SHARE
    word = "bang" if loud and bang[best] > share * thump[best] else "thump"
    draft = _draft(word, onsets, row, sure)
    draft.measures["level_db"] = max(rise_db, height_db)
    return draft


def _plainly(onsets: OnsetTable, probability: np.ndarray, labels: list[str], row: int) -> float:
    """How surely a loud onset is a stroke, be it a click or a knock, or 0: it must not go unnamed for being between them."""
    strokes = [labels.index(word) for word in ("click", "thump", "bang") if word in labels]
    rise_db, height_db = float(onsets.column("rise_db")[row]), float(onsets.height_db(row))
    loud = rise_db >= _BANG_DB or height_db >= _BANG_HEIGHT_DB
    sure = float(probability[row, strokes].sum())
    return sure if loud and sure >= np.interp(rise_db, _STROKE_DB, _STROKE_FROM) else 0.0


def _draft(name: str, onsets: OnsetTable, row: int, probability: float) -> Draft:
    at = float(onsets.column("time_s")[row])
    end = at + float(onsets.column("decay_ms")[row]) / 1000
    return Draft(name, at, end, min(0.97, probability), {"level_db": float(onsets.column("rise_db")[row])})


def _click(onsets: OnsetTable, row: int, probability: float) -> Draft:
    at = float(onsets.column("time_s")[row])
    decay_ms = float(onsets.column("decay_ms")[row])
    return Draft("click", at, at + max(0.01, decay_ms / 1000), probability, {
        "level_db": float(onsets.column("rise_db")[row]),
        "decay_ms": decay_ms,
        "centroid_hz": float(onsets.column("centroid_hz")[row]),
    })  # fmt: skip


def _groups(times: np.ndarray, free: np.ndarray) -> list[np.ndarray]:
    """Indices of free onsets, those within 40 ms of the first together."""
    groups: list[list[int]] = []
    for i in np.flatnonzero(free):
        if groups and times[i] - times[groups[-1][0]] <= _MERGE_S:
            groups[-1].append(int(i))
        else:
            groups.append([int(i)])
    return [np.array(g) for g in groups]


def _crowded(clicks_s: np.ndarray, perhaps_s: np.ndarray, at_s: float, at_edge: bool) -> bool:
    """Whether a click is one of a crowd: of clicks, or of what may be clicks, unless something starts or stops there."""
    if np.sum(np.abs(clicks_s - at_s) < _CROWD_S / 2) >= _CROWD:
        return True
    gaps = np.diff(np.sort(clicks_s[np.abs(clicks_s - at_s) < _SLOW_CROWD_S / 2]))
    if not at_edge:
        more = np.diff(np.sort(perhaps_s[np.abs(perhaps_s - at_s) < _SLOW_CROWD_S / 2]))
        if len(more) + 1 >= _PERHAPS_CROWD and float(more.std()) > _SLOW_CROWD_RHYTHM * float(more.mean()):
            return True
    # Somebody who works a switch again and again does so evenly, and so does a part.
    return len(gaps) + 1 >= _SLOW_CROWD and float(gaps.std()) > _SLOW_CROWD_RHYTHM * float(gaps.mean())


def _gather(drafts: list[Draft], perhaps_s: np.ndarray, edges_s: Sequence[float]) -> list[Draft]:
    """Join clatter within half a second; a crowd of lone clicks is clatter too."""
    clicks = [d for d in drafts if d.sound == "click"]
    times = np.array([d.onset_s for d in clicks])
    at_edge = _near(times, edges_s)
    out = [d for d in drafts if d.sound not in ("click", "clatter", "drip")]
    clatter = [d for d in drafts if d.sound == "clatter"]
    for draft, switched in zip(clicks, at_edge, strict=True):
        if _crowded(times, perhaps_s, draft.onset_s, bool(switched)):
            clatter.append(
                Draft("clatter", draft.onset_s, draft.offset_s, 0.6, {"level_db": draft.measures["level_db"]})
            )
        else:
            out.append(draft)
    for sound, group in (("clatter", clatter), ("drip", [d for d in drafts if d.sound == "drip"])):
        joined: list[Draft] = []
        counts: list[int] = []
        for draft in sorted(group, key=lambda d: d.onset_s):
            if joined and draft.onset_s - joined[-1].offset_s < (0.5 if sound == "clatter" else 3.0):
                joined[-1].offset_s = max(joined[-1].offset_s, draft.offset_s)
                joined[-1].probability = max(joined[-1].probability, draft.probability)
                counts[-1] += 1
            else:
                joined.append(draft)
                counts.append(1)
        for draft, count in zip(joined, counts, strict=True):
            if sound == "drip":
                if count < 3:
                    continue
                draft.measures = {"rate_hz": (count - 1) / max(draft.duration_s, 0.1)}
                # It drips until the next drop would have fallen.
                draft.offset_s += min(draft.duration_s / (count - 1), _LAST_DROP_S)
            out.append(draft)
    return out
