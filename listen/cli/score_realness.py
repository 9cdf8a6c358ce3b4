"""Bring real recordings of the train fold and synthesised sounds to the comparison."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from listen.cli.score_real import NEAREST, WORDS, read_mono, read_rows, set_in_quiet
from listen.learn.score.realness import Textures, compare, scale_of, textures_of
from listen.vocabulary import SOUNDS

ABOUT = (
    "synthetic sounds of the train split without a phone chain, in room tone, against real recordings of the train fold "
    "(stand-ins), at the same rate; the most different first; distances in the spread of each measure over all sounds; "
    "told apart: 0.5 not at all, 1 always"
)
FIRST_SEED, PER_SOUND, SEED = 3_900_000, 24, 20263


def compare_all(folder: Path, echo: Callable[[str], object]) -> dict[str, Any]:
    """Compare every sound of which the train fold holds a recording."""
    real: dict[str, list[Textures]] = {}
    rates: dict[str, list[int]] = {}
    for row in read_rows(folder, "train"):
        words = [WORDS.get(word, word) for word in row["sounds"].split(";")]
        near = NEAREST.get(row["nearest"].split(" ")[0])
        words = [near[0]] if near is not None else [w for w in words if w in SOUNDS and w != "other"]
        if not words:
            continue
        samples, rate_hz = read_mono(folder / row["path"])
        measured = textures_of(set_in_quiet(samples, rate_hz), rate_hz, row["recording"])
        for word in words:
            real.setdefault(word, []).append(measured)
            rates.setdefault(word, []).append(rate_hz)
    echo(f"synthetic against real: {', '.join(sorted(real))}")
    made = {word: _synthetic(word, int(median(rates[word]))) for word in real}
    scale = scale_of([one for parts in (*real.values(), *made.values()) for one in parts])
    rows = {word: compare(real[word], made[word], SEED, scale) for word in real}

    def worst(word: str) -> float:
        return -max((d["spreads_apart"] for d in rows[word]["differ_most"]), default=0.0)

    return {"about": ABOUT, "sounds": {word: rows[word] for word in sorted(rows, key=worst)}}


def _synthetic(word: str, rate_hz: int) -> list[Textures]:
    """Sounds of the train split at the rate of the recordings that they stand beside."""
    import soxr

    from synthetic_audio import draw_sound, render

    made = []
    for seed in range(FIRST_SEED, FIRST_SEED + PER_SOUND):
        scene = render(draw_sound(seed, word, split="train", background="quiet", phone=False))
        samples = soxr.resample(scene.samples, scene.rate_hz, rate_hz).astype("float32")
        labels = [x for x in scene.labels if x.sound == word]
        span = (min(x.onset_s for x in labels), max(x.offset_s for x in labels)) if labels else None
        made.append(textures_of(samples, rate_hz, f"synthetic-{seed}", span))
    return made
