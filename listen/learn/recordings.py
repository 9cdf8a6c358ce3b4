"""Read folders of labelled real recordings, to be heard behind synthesised scenes in training.

The samples never enter a model or the repository; the model's card names their
licences. A folder holds listings (CSV) with at least the columns `path`, `fold`
and one of words.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from listen.errors import BadParameter
from listen.vocabulary import SOUNDS

#: A sound is audible in a recording where it comes this close to the recording's loudest part.
_AUDIBLE_DB = 18.0
_FRAME_S = 0.128
#: Marks a word as 'may well be heard': neither yes nor no.
UNSURE = "?"


@dataclass(frozen=True, slots=True)
class Listing:
    """One CSV of a folder: which column holds the words, which folds are read, and what the words mean here."""

    file: str
    folds: tuple[str, ...]
    column: str = "sounds"
    words: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RecordingsRecipe:
    """How real recordings are used: clips of each alone, and scenes with recordings behind.

    `licences_left_out` are prefixes of the listing's licence.
    """

    alone: int
    mixed: int
    listing: tuple[Listing, ...]
    licences_left_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Recording:
    """`words` are the ear's; a word that ends in '?' may be heard or not."""

    path: Path
    words: tuple[str, ...]
    licence: str


def read_recordings(folder: str | Path, recipe: RecordingsRecipe) -> list[Recording]:
    """List the recordings that a recipe asks for, in the listings' order.

    Raises
    ------
    BadParameter
        A listing or a recording is missing, or a word is none of the ear's.
    """
    folder = Path(folder)
    found = []
    for listing in recipe.listing:
        try:
            with (folder / listing.file).open(encoding="utf-8", newline="") as file:
                rows = list(csv.DictReader(file))
        except OSError as error:
            raise BadParameter(
                f"The folder {folder.name!r} holds no listing {listing.file!r}: name the folder of recordings."
            ) from error
        for row in rows:
            licence = row.get("licence", "")
            if row["fold"] not in listing.folds or licence.startswith(recipe.licences_left_out or ("\0",)):
                continue
            words = _words(row.get(listing.column, ""), listing)
            found.append(Recording(folder / row["path"], words, licence))
    missing = [r.path.name for r in found if not r.path.is_file()]
    if missing:
        raise BadParameter(f"{len(missing)} recordings of the listings are missing, {missing[0]!r} first.")
    return found


def _words(cell: str, listing: Listing) -> tuple[str, ...]:
    words = []
    several = ";" in cell
    for word in filter(None, (w.strip() for w in cell.split(";"))):
        word = listing.words.get(word, word)
        if word.removesuffix(UNSURE) not in SOUNDS:
            raise BadParameter(f"{listing.file} says {word!r}, which is no word of the ear.")
        # Of several sounds in one recording none need be there all the time.
        words.append(word if not several or word.endswith(UNSURE) else word + UNSURE)
    return tuple(words)


def audible_spans(samples: np.ndarray, rate_hz: int) -> list[tuple[float, float]]:
    """Stretches of a recording (start and end in s) that are near its loudest part.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,)], float
    """
    size = max(1, round(_FRAME_S * rate_hz))
    frames = len(samples) // size
    if not frames:
        return []
    power = np.mean(samples[: frames * size].reshape(frames, size).astype(float) ** 2, axis=1)
    loud = power > power.max() * 10 ** (-_AUDIBLE_DB / 10)
    if power.max() <= 0:
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(int), [0]])))
    return [(a * size / rate_hz, b * size / rate_hz) for a, b in edges.reshape(-1, 2)]
