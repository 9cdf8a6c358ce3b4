"""Draw a scene: which machine, what happens, what else is heard, which room and phone."""

from __future__ import annotations

from typing import Any

import numpy as np

from synthetic_audio.families import LENGTHS_S, WRITERS
from synthetic_audio.machines import draw_physics, draw_profile
from synthetic_audio.randomness import generator
from synthetic_audio.ranges import SPLITS
from synthetic_audio.score import Score
from synthetic_audio.spec import Spec
from synthetic_audio.surroundings import add_surroundings
from synthetic_audio.vocabulary import FAMILIES, FAULTS, NORMAL

#: True mains frequency lies this close to its nominal value.
MAINS_DEVIATION_HZ = 0.1


def draw_phone(rng: np.random.Generator, physics: dict[str, float]) -> dict[str, Any]:
    """Return what the phone does: microphone, gain control, suppression, clipping, codec."""
    codec = str(rng.choice(["none", "low_pass", "wide_band", "narrow_band"], p=[0.35, 0.45, 0.12, 0.08]))
    return {
        "highpass_hz": physics["phone_highpass_hz"],
        "resonance_hz": physics["phone_resonance_hz"],
        "resonance_db": round(float(rng.uniform(0, 7)), 2),
        "noise_db": physics["phone_noise_db"],
        "agc": round(float(rng.uniform(0.3, 0.8)), 2) if rng.random() < 0.3 else 0.0,
        "agc_s": physics["phone_agc_s"],
        "suppression": bool(rng.random() < 0.1),
        "suppression_floor_db": round(float(rng.uniform(-24, -12)), 1),
        "suppression_s": round(float(rng.uniform(1.0, 2.0)), 2),
        "clip": bool(rng.random() < 0.05),
        "over_db": round(float(rng.uniform(1, 6)), 1),
        "codec": codec,
        "lowpass_hz": physics["phone_lowpass_hz"],
        "agc_kind": "slow" if rng.random() < 0.5 else "fast",
        "agc_start_db": round(float(rng.uniform(8, 14)), 1),
    }


def check_seed(seed: int, split: str) -> None:
    """Raise ValueError unless seed and split can be drawn from."""
    if split not in SPLITS:
        raise ValueError(f"Unknown split {split!r}: use {', '.join(map(repr, SPLITS))}.")
    if seed < 0:
        raise ValueError(f"The seed must not be negative, got {seed}.")


def draw(
    seed: int,
    family: str | None = None,
    split: str = "train",
    duration_s: float | None = None,
    background: str | None = None,
    phone: bool = True,
    mains_hz: int | None = None,
) -> Spec:
    """Draw a scene.

    Parameters
    ----------
    seed : int
        Not negative.
    family : str, optional
        One of :data:`FAMILIES`; drawn if None.
    split : str
        `train`, `held_out` or `outer`; their parameter ranges do not touch.
    duration_s : float, optional
        Length; drawn from the family's natural lengths if None.
    background : str, optional
        None draws; `none` leaves a clean machine, `quiet` room tone alone; or names joined by commas.
    phone : bool
        Put a phone's microphone and codec behind it.
    mains_hz : int, optional
        50 or 60; drawn if None.

    Raises
    ------
    ValueError
        For an unknown family, split or background, or a duration in which the family cannot happen.

    Examples
    --------
    >>> draw(3, "blast").family
    'blast'
    """
    check_seed(seed, split)
    if family is None:
        family = str(generator(seed, split, "family").choice(FAMILIES))
    if family not in WRITERS:
        raise ValueError(f"Unknown family {family!r}: use one of {', '.join(FAMILIES)}.")
    if mains_hz not in (None, 50, 60):
        raise ValueError(f"The mains are 50 or 60 Hz, got {mains_hz}.")
    rng = generator(seed, split, family, "scene")
    shortest, longest, least = LENGTHS_S[family]
    drawn_s = round(float(rng.uniform(shortest, longest)), 2)
    total_s = drawn_s if duration_s is None else float(duration_s)
    if total_s < least:
        raise ValueError(f"A scene of {family!r} needs at least {least:g} s, got {total_s:g}.")
    nominal = int(rng.choice([50, 60])) if mains_hz is None else mains_hz
    true_hz = round(nominal + float(rng.uniform(-MAINS_DEVIATION_HZ, MAINS_DEVIATION_HZ)), 4)
    machine = draw_profile(rng, family, nominal)
    physics = draw_physics(rng, split)
    score = Score(rng, machine, physics, true_hz, total_s, split)
    WRITERS[family](score)
    add_surroundings(score, generator(seed, split, family, "around"), split, background)
    chain = draw_phone(generator(seed, split, family, "chain"), physics)
    return to_spec(score, seed, split, family, chain if phone else None)


def to_spec(score: Score, seed: int, split: str, family: str, phone: dict[str, Any] | None) -> Spec:
    """Return the scene that a score holds as a spec."""
    p = score.physics
    return Spec(
        seed=int(seed),
        split=split,
        family=family,
        duration_s=score.total_s,
        mains_hz=score.mains_hz,
        machine=score.machine,
        physics=p,
        events=tuple(score.events),
        story=tuple(score.story),
        gauges=score.gauges,
        verdict="abnormal" if family in FAULTS else "normal" if family in NORMAL[:-1] else "cannot_tell",
        room={"volume_m3": p["room_volume_m3"], "rt60_s": p["rt60_s"], "distance_m": p["mic_distance_m"]},
        phone=phone,
    )
