"""An event before it has its number: what the detectors hand to each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from types import MappingProxyType

from listen.types import SoundEvent


@dataclass(slots=True)
class Draft:
    """A heard sound: word, span in seconds, probability 0..1, measures with units in their names.

    `edge_start` and `edge_end` tell whether the level really rose or fell there.
    """

    sound: str
    onset_s: float
    offset_s: float
    probability: float
    measures: dict[str, float] = field(default_factory=dict)
    open_start: bool = False
    open_end: bool = False
    edge_start: bool = True
    edge_end: bool = True

    @property
    def duration_s(self) -> float:
        return self.offset_s - self.onset_s

    def overlap_s(self, other: Draft) -> float:
        return min(self.offset_s, other.offset_s) - max(self.onset_s, other.onset_s)


def numbered(drafts: Iterable[Draft], duration_s: float) -> tuple[SoundEvent, ...]:
    """Order drafts by onset, keep them inside the clip and give each its id."""
    ordered = sorted(drafts, key=lambda d: (d.onset_s, d.offset_s, d.sound))
    events = []
    for n, draft in enumerate(ordered, start=1):
        onset = min(max(draft.onset_s, 0.0), duration_s)
        offset = min(max(draft.offset_s, onset), duration_s)
        measures = {name: round(float(value), 3) for name, value in sorted(draft.measures.items())}
        events.append(SoundEvent(
            f"e{n}", draft.sound, round(onset, 3), round(offset, 3), round(float(draft.probability), 3),
            MappingProxyType(measures), draft.open_start, draft.open_end,
        ))  # fmt: skip
    return tuple(events)
