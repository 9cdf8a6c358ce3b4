"""One sound at a time, for learning textures and clicks: not a scene, and with no verdict."""

from __future__ import annotations

from collections.abc import Callable

from synthetic_audio.draw import MAINS_DEVIATION_HZ, check_seed, draw_phone, to_spec
from synthetic_audio.machines import draw_physics, draw_profile
from synthetic_audio.randomness import generator
from synthetic_audio.score import Score
from synthetic_audio.spec import Spec
from synthetic_audio.surroundings import add_background, add_surroundings
from synthetic_audio.vocabulary import SOUNDS


def _click(score: Score) -> None:
    parts = (score.switch, score.relay, score.lever, score.tick)
    at = score.between(0.3, 1.0)
    while at < score.total_s - 0.2:
        pick = int(score.rng.integers(6))
        if pick < 4:
            parts[pick](at)
        else:
            score.valve(at, opens=pick == 4)
        at += score.between(0.4, 1.5)


def _lasting(
    source: str, sound: str, low_db: float, high_db: float, **names: str | float
) -> Callable[[Score], None]:
    """Return a writer of one lasting sound; a value that names a range is looked up."""

    def write(score: Score) -> None:
        options = {
            k: score.physics[v] if isinstance(v, str) and v in score.physics else v for k, v in names.items()
        }
        at = score.between(0.3, 1.0)
        length = score.total_s - at - score.between(0.3, 0.8)
        score.add(source, sound, at, length, score.between(low_db, high_db), **options)

    return write


def _knock(sound: str, level_db: float, hardness: float) -> Callable[[Score], None]:
    def write(score: Score) -> None:
        at = score.between(0.3, 1.0)
        while at < score.total_s - 0.4:
            score.add(
                "thump",
                sound,
                at,
                0.2,
                level_db + score.between(-8, 0),
                low_hz=round(score.between(50, 140), 1),
                ring_s=round(score.between(0.12, 0.4), 3),
                hardness=hardness * score.between(0.7, 1.3),
            )
            at += score.between(0.7, 1.6)

    return write


def _hiss(score: Score) -> None:
    p = score.physics
    kind = int(score.rng.integers(3))
    at = score.between(0.3, 1.0)
    length = score.total_s - at - 0.4
    if kind == 0:
        score.add(
            "leak",
            "hiss",
            at,
            length,
            score.between(-42, -24),
            slope_db=p["leak_slope_db"],
            low_hz=1800.0,
            pulse_hz=p["spit_hz"],
            pulse_depth=round(score.between(0, 0.4), 2),
        )
    elif kind == 1:
        score.add(
            "vent",
            "hiss",
            at,
            length,
            score.between(-36, -22),
            peak_hz=p["vent_peak_hz"],
            spit_hz=p["spit_hz"],
            spit_depth=round(score.between(0.3, 0.7), 2),
            grow_db=6.0,
            end_ms=p["vent_end_ms"],
        )
    else:
        score.add(
            "wand",
            "hiss",
            at,
            length,
            score.between(-28, -12),
            peak_hz=p["wand_peak_hz"],
            rise_s=p["wand_rise_s"],
        )


def _bursts(score: Score) -> None:
    at = score.between(0.3, 0.8)
    while at < score.total_s - 0.6:
        score.discharge(at)
        at += score.physics["burst_decay_s"] * 1.6 + score.between(0.5, 1.2)


def _background(name: str) -> Callable[[Score], None]:
    return lambda score: add_background(score, score.rng, score.split, name, louder_db=10.0)


def _other(score: Score) -> None:
    score.add("kitchen", "other", 0.0, score.total_s, score.between(-50, -34), where="air")


def _whole(score: Score) -> tuple[float, float]:
    at = score.between(0.3, 0.8)
    return at, score.total_s - at - 0.6


WRITERS: dict[str, Callable[[Score], None]] = {
    "click": _click,
    "click_train": _lasting(
        "click_train",
        "click_train",
        -28,
        -12,
        kind="relay",
        ring_hz="relay_ring_hz",
        ring_ms=12.0,
        pulse_ms=0.6,
        bounce_ms="bounce_ms",
        clicks_hz="chatter_hz",
    ),
    "thump": _knock("thump", -14.0, 0.25),
    "bang": _knock("bang", -4.0, 1.0),
    "mains_hum": _lasting("hum", "mains_hum", -44, -22, tilt_db=5.0, lines=5, body_hz="body_hz"),
    "mains_buzz": _lasting("buzz", "mains_buzz", -34, -18, tilt_db="buzz_tilt_db", body_hz="body_hz"),
    "motor_run": lambda score: score.motor(*_whole(score)),
    "stroke_train": lambda score: score.strokes(*_whole(score)),
    "gravel": _lasting("gravel", "gravel", -34, -18, impulses_hz="gravel_hz", ring_hz="gravel_ring_hz"),
    "squeal": _lasting("squeal", "squeal", -38, -18, tone_hz="tone_hz"),
    "honk": _lasting("honk", "honk", -36, -18, tone_hz="honk_hz"),
    "beep": _lasting("beep", "beep", -36, -18, tone_hz="beep_hz"),
    "hiss": _hiss,
    "blast": _lasting(
        "blast", "blast", -14, -7, peak_hz="blast_peak_hz", rise_ms="blast_rise_ms", flutter_hz="flutter_hz"
    ),
    "burst": _bursts,
    "boil": _lasting("boil", "boil", -44, -28, peak_hz="boil_peak_hz", grow_db=4.0),
    "water_flow": _lasting("water_flow", "water_flow", -46, -28, radius_mm="drip_radius_mm"),
    "splutter": _lasting("splutter", "splutter", -40, -22, splutter_hz="splutter_hz"),
    "gurgle": _lasting("gurgle", "gurgle", -42, -26),
    "drip": _lasting("drip", "drip", -40, -24, radius_mm="drip_radius_mm", drip_hz="drip_hz"),
    "rattle": _lasting("rattle", "rattle", -36, -20, shake_hz=50.0),
    "scrape": _lasting("scrape", "scrape", -30, -16),
    "arcing": _lasting("arcing", "arcing", -20, -6),
    "speech": _background("speech"),
    "music": _background("music"),
    "grinder": _background("grinder"),
    "fan": _background("fan"),
    "clatter": _background("clatter"),
    "other": _other,
}


def draw_sound(
    seed: int,
    sound: str,
    split: str = "train",
    duration_s: float = 4.0,
    background: str | None = None,
    phone: bool = True,
) -> Spec:
    """Draw a clip of one sound of the vocabulary, labelled as any scene; its family reads ``sound:<word>``.

    Raises
    ------
    ValueError
        For an unknown sound or split, or a duration under 2 s.
    """
    check_seed(seed, split)
    if sound not in WRITERS:
        raise ValueError(f"Unknown sound {sound!r}: use one of {', '.join(SOUNDS)}.")
    if duration_s < 2.0:
        raise ValueError(f"A clip of one sound needs at least 2 s, got {duration_s:g}.")
    family = f"sound:{sound}"
    rng = generator(seed, split, family, "scene")
    nominal = int(rng.choice([50, 60]))
    mains_hz = round(nominal + float(rng.uniform(-MAINS_DEVIATION_HZ, MAINS_DEVIATION_HZ)), 4)
    score = Score(
        rng, draw_profile(rng, family, nominal), draw_physics(rng, split), mains_hz, float(duration_s), split
    )
    WRITERS[sound](score)
    around = generator(seed, split, family, "around")
    if background is None and around.random() < 0.6:
        background = "quiet"
    add_surroundings(score, around, split, background)
    chain = draw_phone(generator(seed, split, family, "chain"), score.physics)
    return to_spec(score, seed, split, family, chain if phone else None)
