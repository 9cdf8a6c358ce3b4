"""The rules of counting, read from `rules.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from listen.errors import KnowledgeError
from listen.vocabulary import SOUNDS


@dataclass(frozen=True, slots=True)
class Rules:
    """Tolerances in s, levels in dB; `kind` names how each sound is counted (`onset`, `span`, `segment`)."""

    find_db: float
    free_db: float
    least_passed_share: float
    kind: Mapping[str, str]
    onset_s: Mapping[str, float]
    offset_s: float
    offset_share: float
    segment_s: float
    families: Mapping[str, tuple[str, ...]]
    free_background: frozenset[str]
    free_inside: Mapping[str, tuple[str, ...]]
    stop_from_sound: frozenset[str]
    least_recordings: int
    resamples: int
    seed: int

    def family_of(self, sound: str) -> str:
        """Return the family of sounds that a word belongs to."""
        return next(name for name, sounds in self.families.items() if sound in sounds)


@cache
def load_rules(path: str | Path | None = None) -> Rules:
    """Read the shipped rules, or those of another file.

    Raises
    ------
    KnowledgeError
        An entry is missing, or a sound is counted in no way or in two.
    """
    file = Path(path) if path is not None else Path(__file__).with_name("rules.toml")
    try:
        table = tomllib.loads(file.read_text(encoding="utf-8"))
        kind = {sound: how for how in ("onset", "span", "segment") for sound in table[how]["sounds"]}
        rules = Rules(
            **table["level"],
            kind=MappingProxyType(kind),
            onset_s=MappingProxyType({how: float(table[how]["onset_s"]) for how in ("onset", "span")}),
            offset_s=table["span"]["offset_s"],
            offset_share=table["span"]["offset_share"],
            segment_s=table["segment"]["segment_s"],
            families=MappingProxyType({name: tuple(words) for name, words in table["families"].items()}),
            free_background=frozenset(table["free"]["background"]),
            free_inside=MappingProxyType({s: tuple(w) for s, w in table["free"]["inside"].items()}),
            stop_from_sound=frozenset(table["verdict"]["stop_from_sound"]),
            **table["report"],
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise KnowledgeError(f"The rules of scoring {file.name!r} cannot be used: {error}.") from error
    counted = [sound for how in ("onset", "span", "segment") for sound in table[how]["sounds"]]
    grouped = [sound for words in rules.families.values() for sound in words]
    if sorted(counted) != sorted(SOUNDS) or sorted(grouped) != sorted(SOUNDS):
        raise KnowledgeError(
            f"The rules of scoring {file.name!r} must count every sound once and place it in one family."
        )
    return rules
