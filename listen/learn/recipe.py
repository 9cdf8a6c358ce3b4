"""A training recipe: a small TOML file, unknown keys refused."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from listen.errors import BadParameter
from listen.learn.recordings import Listing, RecordingsRecipe
from listen.vocabulary import SOUNDS


@dataclass(frozen=True, slots=True)
class HeadRecipe:
    """One part of the model: labels, hidden layer sizes, L2 penalty, passes, and how labels are drawn."""

    labels: tuple[str, ...]
    hidden: tuple[int, ...]
    alpha: float
    epochs: int
    least_snr_db: float
    present_share: float = 0.5
    absent_share: float = 0.1
    match_s: float = 0.03
    #: Fainter than this against all the rest a sound counts as not there.
    inaudible_db: float = -12.0


@dataclass(frozen=True, slots=True)
class Recipe:
    version: str
    seed: int
    scenes_per_family: int
    no_machine_scenes: int
    long_families: tuple[str, ...]
    long_scenes: int
    single_scenes: int
    textures: HeadRecipe
    onsets: HeadRecipe
    #: The part for beginnings of lasting noises; a model can do without.
    starts: HeadRecipe | None = None
    #: Share of training clips whose colour is bent at random, as other rooms and phones would.
    bent_share: float = 0.0
    sprinkled_share: float = 0.0
    #: So many more clips, as a share of the scenes and sounds, are heard from afar, in rooms that ring on.
    far_share: float = 0.0
    #: Scenes of each family that calls for a stop by its sound, and of the long ones.
    stop_scenes: int = 0
    stop_long_scenes: int = 0
    #: Twins beside them in which that sound belongs, as a share of their number.
    stop_twin_share: float = 0.5
    #: So many more clips, as a share of all scenes and sounds, are of machines, rooms and phones further out than any scored.
    outer_share: float = 0.0
    #: Networks of one head whose mean is shipped.
    members: int = 1
    recordings: RecordingsRecipe | None = None


def _fill(kind: type, table: dict[str, Any], where: str) -> Any:
    known = {f.name for f in fields(kind)}
    unknown = sorted(set(table) - known)
    if unknown:
        raise BadParameter(
            f"The recipe has an unknown entry {unknown[0]!r} in {where}: known are {', '.join(sorted(known))}."
        )
    try:
        return kind(
            **{key: tuple(value) if isinstance(value, list) else value for key, value in table.items()}
        )
    except TypeError as error:
        raise BadParameter(f"The recipe lacks an entry in {where}: {error}.") from error


def load_recipe(path: str | Path) -> Recipe:
    """Read a recipe.

    Raises
    ------
    BadParameter
        Not readable, unknown or missing entries, labels that are no ear words.
    """
    try:
        table = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadParameter(f"The recipe {Path(path).name!r} cannot be read: {error}.") from error
    for part in ("textures", "onsets", "starts"):
        if part == "starts" and part not in table:
            continue
        head = _fill(HeadRecipe, table.pop(part, {}), f"[{part}]")
        bad = [label for label in head.labels if label not in SOUNDS]
        if bad:
            raise BadParameter(f"The recipe's [{part}] names {bad[0]!r}, which is no word of the ear.")
        table[part] = head
    recordings = table.pop("recordings", None)
    if recordings is not None:
        listings = [_fill(Listing, part, "[[recordings.listing]]") for part in recordings.pop("listing", [])]
        table["recordings"] = _fill(RecordingsRecipe, {**recordings, "listing": listings}, "[recordings]")
    return _fill(Recipe, table, "its top level")
