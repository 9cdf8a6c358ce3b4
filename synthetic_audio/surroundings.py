"""Draw what else is heard: room tone and up to three other sounds."""

from __future__ import annotations

import numpy as np

from synthetic_audio.ranges import choose, pick
from synthetic_audio.score import Score

#: Background -> the vocabulary's word for it (None: no label).
WORDS: dict[str, str | None] = {
    "kitchen": None,
    "speech": "speech",
    "music": "music",
    "fridge": "motor_run",
    "fan": "fan",
    "grinder": "grinder",
    "clatter": "clatter",
    "tap": "water_flow",
    "knock_box": "thump",
    "rain": "other",
    "wind": "other",
    "crackle": "other",
    "engine": "other",
    "calls": "other",
    "crowd": "speech",
}
#: How often each is drawn, kitchens first; the order of WORDS.
_WEIGHTS = (3, 3, 2, 2, 2, 1, 2, 1.5, 1.5, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7)


def _outdoors(rng: np.random.Generator, name: str) -> dict[str, float]:
    """Draw the parameters of a sound from outside the kitchen."""
    drawn: dict[str, dict[str, tuple[float, float]]] = {
        "rain": {"peak_hz": (800, 6000), "drops_hz": (5, 120), "drop_gain": (0.2, 3)},
        "wind": {"peak_hz": (120, 900), "swell": (0.3, 0.9), "swell_hz": (0.2, 0.8)},
        "crackle": {"pops_hz": (2, 25)},
        "engine": {
            "beat_hz": (8, 80),
            "wander": (0.005, 0.08),
            "sharpness": (1, 8),
            "peak_hz": (300, 3000),
            "noise": (0.2, 2),
        },
        "calls": {"pitch_hz": (250, 900), "call_s": (0.1, 1.2), "pause_s": (0.2, 1.5)},
        "crowd": {"people": (3, 7)},
    }
    return {key: round(float(rng.uniform(*span)), 3) for key, span in drawn[name].items()}


def _place(
    rng: np.random.Generator, total_s: float, shortest_s: float, longest_s: float
) -> tuple[float, float]:
    length = min(total_s - 0.2, rng.uniform(shortest_s, longest_s))
    return rng.uniform(0.0, max(0.1, total_s - length)), length


def add_background(
    score: Score, rng: np.random.Generator, split: str, name: str, louder_db: float = 0.0
) -> None:
    """Add one background by name at a level that is drawn."""
    total = score.total_s
    word = WORDS[name]
    if name == "kitchen":
        score.add(name, word, 0.0, total, rng.uniform(-62, -46) + louder_db, where="air")
    elif name == "speech":
        at, length = _place(rng, total, 2.0, 8.0)
        score.add(
            name,
            word,
            at,
            length,
            rng.uniform(-46, -28) + louder_db,
            where="room",
            pitch_hz=round(rng.uniform(90, 240), 1),
            syllables_hz=round(rng.uniform(3, 5), 2),
        )
    elif name == "music":
        score.add(
            name,
            word,
            0.0,
            total,
            rng.uniform(-54, -36) + louder_db,
            where="room",
            tempo_bpm=round(rng.uniform(80, 140), 1),
        )
    elif name == "fridge":
        poles = int(rng.choice([2, 4]))
        body = rng.uniform(150, 400)
        level = rng.uniform(-52, -38) + louder_db
        score.add(
            name,
            word,
            0.0,
            total,
            level,
            where="room",
            poles=poles,
            slip=pick(rng, split, "slip"),
            vanes=choose(rng, split, "vanes"),
            vane_gain_db=0.0,
            shaft_tilt_db=pick(rng, split, "shaft_tilt_db"),
            body_hz=round(body, 1),
            flow_db=-8.0,
            flow_peak_hz=600.0,
        )
        score.add(
            "hum",
            "mains_hum",
            0.0,
            total,
            level - 4,
            where="room",
            tilt_db=6.0,
            lines=4,
            body_hz=round(body, 1),
        )
    elif name == "fan":
        score.add(
            name,
            word,
            0.0,
            total,
            rng.uniform(-56, -42) + louder_db,
            where="room",
            poles=4,
            slip=pick(rng, split, "slip"),
            blades=int(rng.integers(5, 10)),
            flow_peak_hz=round(rng.uniform(250, 700), 1),
        )
    elif name == "grinder":
        at, length = _place(rng, total, 3.0, 8.0)
        score.add(
            name,
            word,
            at,
            length,
            rng.uniform(-30, -16) + louder_db,
            where="room",
            shaft_hz=round(rng.uniform(20, 27), 3),
            teeth=int(rng.integers(6, 13)),
        )
    elif name == "clatter":
        for _ in range(int(rng.integers(1, 4))):
            at, length = _place(rng, total, 0.2, 1.5)
            score.add(name, word, at, length, rng.uniform(-34, -18) + louder_db, where="room")
    elif name == "tap":
        at, length = _place(rng, total, 3.0, 10.0)
        score.add(
            name,
            word,
            at,
            length,
            rng.uniform(-48, -34) + louder_db,
            where="room",
            radius_mm=round(rng.uniform(0.8, 2.5), 2),
            bubbles_hz=400.0,
            noise=round(rng.uniform(0.5, 2), 2),
        )
    elif name == "knock_box":
        at, _ = _place(rng, total, 1.0, 1.5)
        level, low_hz = rng.uniform(-22, -12) + louder_db, round(rng.uniform(60, 110), 1)
        for _ in range(int(rng.integers(1, 4))):
            score.add(name, word, at, 0.2, level - rng.uniform(0, 5), where="room", low_hz=low_hz)
            at += rng.uniform(0.3, 0.5)
    else:
        level = rng.uniform(-50, -30) + louder_db
        score.add(name, word, 0.0, total, level, where="room", **_outdoors(rng, name))


def add_surroundings(score: Score, rng: np.random.Generator, split: str, background: str | None) -> None:
    """Add room tone and backgrounds.

    Parameters
    ----------
    background : str or None
        None draws; `none` leaves all out; `quiet` is room tone alone; else names joined by commas.
    """
    if background == "none":
        return
    score.add(
        "room_tone",
        None,
        0.0,
        score.total_s,
        rng.uniform(-76, -58),
        where="air",
        fall_db=round(rng.uniform(2.5, 5.5), 2),
    )
    alone = not score.events[:-1]
    if background is not None:
        names = [name.strip() for name in background.split(",")] if background != "quiet" else []
        unknown = sorted(set(names) - set(WORDS))
        if unknown:
            raise ValueError(f"Unknown background {unknown[0]!r}: use some of {', '.join(WORDS)}, or 'none'.")
    else:
        count = (
            int(rng.choice([1, 2, 3])) if alone else int(rng.choice([0, 1, 2, 3], p=[0.35, 0.35, 0.2, 0.1]))
        )
        weights = np.array(_WEIGHTS) + (np.array(list(WORDS)) == "grinder") * alone
        names = [
            str(x) for x in rng.choice(list(WORDS), size=count, replace=False, p=weights / weights.sum())
        ]
    for name in names:
        add_background(score, rng, split, name, louder_db=6.0 if alone else 0.0)
