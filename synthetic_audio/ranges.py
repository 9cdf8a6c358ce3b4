"""Ranges of the splits, read from `ranges.toml`, and drawing from them."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import numpy as np

SPLITS: tuple[str, ...] = ("train", "held_out", "outer")


@cache
def table() -> dict[str, dict]:
    """Return the table: name -> split -> list of [low, high]."""
    text = (Path(__file__).parent / "ranges.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def pick(rng: np.random.Generator, split: str, name: str) -> float:
    """Draw one number of the named range, uniform over the split's intervals.

    Parameters
    ----------
    rng : np.random.Generator
    split : str
        `train`, `held_out` or `outer`.
    name : str
        Key of `ranges.toml`.
    """
    intervals = table()[name][split]
    widths = np.array([high - low for low, high in intervals])
    low, high = intervals[int(rng.choice(len(intervals), p=widths / widths.sum()))]
    return round(float(rng.uniform(low, high)), 6)


def choose(rng: np.random.Generator, split: str, name: str) -> int:
    """Draw one of the split's listed values."""
    return int(rng.choice(table()["choices"][name][split]))


def pick_all(rng: np.random.Generator, split: str) -> dict[str, float]:
    """Draw one number of every range: a machine, its room and the phone before it."""
    drawn: dict[str, float] = {name: pick(rng, split, name) for name in table() if name != "choices"}
    drawn |= {name: choose(rng, split, name) for name in table()["choices"]}
    return drawn
