"""The worst misses of a set, to be listened to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from listen.learn.score.match import Counts
from listen.learn.score.rules import Rules
from listen.learn.score.truth import Heard, Pair, TruthClip
from listen.learn.score.verdicts import first_right, stops


@dataclass(frozen=True, slots=True)
class Miss:
    """`rank` 0 is the worst kind; `at_s` is where to listen; `place` is the clip's in its set; `credit` its makers'."""

    rank: int
    place: int
    clip: str
    family: str
    what: str
    at_s: float | None = None
    credit: str = ""


def verdict_miss(place: int, clip: TruthClip, heard: Heard, rules: Rules) -> Miss | None:
    """Return what is worst about the verdict of a clip, None when nothing is."""

    def miss(rank: int, what: str) -> Miss:
        return Miss(rank, place, clip.name, clip.family, what, None, clip.credit)

    if clip.verdict is None:
        return None
    if stops(heard)[0] and clip.verdict != "abnormal":
        codes = ", ".join(f.code for f in heard.findings if f.level == "stop")
        return miss(0, f"stopped by {codes}, but nothing is wrong in it")
    if clip.verdict == "cannot_tell":
        return (
            miss(2, f"no machine in it, called {heard.verdict}") if heard.verdict != "cannot_tell" else None
        )
    if not clip.carries:
        return None
    if clip.family in rules.stop_from_sound and not stops(heard)[0]:
        return miss(1, f"calls for a stop from its sound; answer: {heard.verdict}, {heard.level}")
    if clip.verdict == "normal":
        return miss(2, "nothing wrong, called abnormal") if heard.verdict == "abnormal" else None
    if heard.verdict == "normal":
        return miss(1, f"{clip.family} called normal")
    if not first_right(clip, heard):
        first = heard.findings[0].code if heard.findings else "no finding"
        return miss(3, f"{clip.family}: {heard.verdict}, first of all {first}")
    return None


def worst(
    pairs: Sequence[Pair],
    counted: dict[str, list[Counts]],
    rules: Rules,
    *,
    verdicts: int = 8,
    sounds: int = 10,
) -> list[dict[str, Any]]:
    """List the worst verdicts, one a family first, and the worst sounds, one a sound.

    Returns
    -------
    list of dict
        Fields of :class:`Miss`; the worst first, verdicts before sounds.
    """
    found = [
        m for n, (clip, heard) in enumerate(pairs) if (m := verdict_miss(n, clip, heard, rules)) is not None
    ]
    found.sort(key=lambda m: (m.rank, m.place))
    seen: set[str] = set()
    firsts: list[Miss] = []
    others: list[Miss] = []
    for m in found:
        (others if m.family in seen else firsts).append(m)
        seen.add(m.family)
    picked = sorted((firsts + others)[:verdicts], key=lambda m: (m.rank, m.place))
    return [asdict(m) for m in (*picked, *_worst_sounds(pairs, counted, sounds))]


def _worst_sounds(pairs: Sequence[Pair], counted: dict[str, list[Counts]], limit: int) -> list[Miss]:
    """The plainest sound not heard and the surest that was not there, by turns, over all sounds."""
    unheard, invented = [], []
    for sound, rows in counted.items():
        missed = [(label.snr_db, n, label) for n, row in enumerate(rows) for label in row.missed]
        if missed:
            level, n, label = max(missed, key=lambda x: (x[0], -x[1]))
            what = f"{sound} not heard" + ("" if pairs[n][0].weak else f", {level:.0f} dB over all else")
            unheard.append((level, _at(pairs, n, what, label.onset_s)))
        wrong = [(event.probability, n, event) for n, row in enumerate(rows) for event in row.wrong]
        if wrong:
            sure, n, event = max(wrong, key=lambda x: (x[0], -x[1]))
            what = f"{sound} heard ({sure:.2f}) where none is labelled so"
            invented.append((sure, _at(pairs, n, what, event.onset_s)))
    unheard.sort(key=lambda x: -x[0])
    invented.sort(key=lambda x: -x[0])
    half = limit // 2
    return [m for _, m in unheard[:half]] + [m for _, m in invented[: limit - half]]


def _at(pairs: Sequence[Pair], n: int, what: str, at_s: float) -> Miss:
    clip = pairs[n][0]
    return Miss(4, n, clip.name, clip.family, what, round(at_s, 2), clip.credit)
