"""Steam: a vent that seals in warm-up, idling at pressure, the wand, a hiss that stays, a blast."""

from __future__ import annotations

from synthetic_audio.score import Score


def _heater(score: Score, at_s: float, deciding: bool = False) -> None:
    """A pressurestat or relay clicks; a solid-state relay is silent."""
    if score.machine["heat_control"] == "pressurestat":
        score.relay(at_s, deciding=deciding)


def normal_warm_up(score: Score) -> None:
    """Boiling grows, the vacuum relief valve vents, spits, and seals with a light tick; gauge near zero."""
    score.tell(0.0, "warm_up")
    score.gauges = {"boiler": round(score.between(0.0, 0.15), 2)}
    p = score.physics
    score.boiling(
        0.0, score.total_s + 1, score.between(-46, -36), grow_db=round(score.between(6, 12), 1), turn=1.0
    )
    closes = score.total_s - score.between(2.5, 5.0)
    opens = max(0.5, closes - score.between(8.0, 22.0))
    score.tell(opens, "vent_closing")
    score.add(
        "vent",
        "hiss",
        opens,
        closes - opens,
        score.between(-32, -22),
        deciding=True,
        peak_hz=p["vent_peak_hz"],
        spit_hz=p["spit_hz"],
        spit_depth=round(score.between(0.3, 0.7), 2),
        grow_db=round(score.between(8, 16), 1),
        end_ms=p["vent_end_ms"],
    )
    score.tick(closes - 0.01)
    score.tell(closes, "warm_up")


def normal_idle(score: Score) -> None:
    """At temperature: the heater cycles, boiling comes and goes, metal ticks now and then."""
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(0.9, 1.3), 2)}
    on = score.between(1.0, 0.3 * score.total_s)
    off = min(score.total_s - 1.0, on + score.between(4.0, 12.0))
    audible = score.machine["heat_control"] == "pressurestat"
    _heater(score, on, deciding=audible)
    score.boiling(on + 0.4, off - on, score.between(-40, -28), deciding=not audible)
    _heater(score, off, deciding=audible)
    if score.rng.random() < 0.3:
        score.thermal_ticks()


def normal_steam(score: Score) -> None:
    """A hand opens the steam tap, draws steam, and closes it."""
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(1.0, 1.4), 2)}
    p = score.physics
    opens = score.between(1.0, 2.5)
    closes = score.total_s - score.between(1.5, 3.0)
    score.tell(opens, "steam_open")
    score.tell(opens, "steam")
    length = closes - opens
    score.add(
        "wand",
        "hiss",
        opens,
        length,
        score.between(-24, -12),
        deciding=True,
        peak_hz=p["wand_peak_hz"],
        rise_s=p["wand_rise_s"],
        fall_s=round(score.between(0.2, 0.5), 3),
        tear_s=round(score.between(2.0, 5.0) if score.rng.random() < 0.6 else 0.0, 2),
    )
    if length > 6:
        at = opens + score.between(3.0, 5.0)
        _heater(score, at)
        score.boiling(at + 0.3, length - 3.5, score.between(-46, -36))
    score.tell(closes, "steam_closed")


def lasting_hiss(score: Score) -> None:
    """At pressure, long after the vacuum valve should have sealed, steam still leaves: valve or joint."""
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(0.9, 1.3), 2)}
    p = score.physics
    whole = score.rng.random() < 0.75
    at = -0.5 if whole else score.between(0.5, 2.0)
    gargles = score.machine["vacuum_valve"] and score.rng.random() < 0.5
    score.add(
        "leak",
        "hiss",
        at,
        score.total_s + 1.0 - at,
        score.between(-40, -26),
        deciding=True,
        slope_db=p["leak_slope_db"],
        low_hz=1800.0,
        pulse_hz=p["spit_hz"],
        pulse_depth=round(score.between(0.15, 0.4), 2) if gargles else 0.0,
    )
    if score.rng.random() < 0.6 and score.total_s > 9:
        on = score.between(2.0, 0.4 * score.total_s)
        off = min(score.total_s - 1.0, on + score.between(3.0, 10.0))
        _heater(score, on)
        score.boiling(on + 0.3, off - on, score.between(-46, -38))
        _heater(score, off)


def blast(score: Score) -> None:
    """The boiler's safety valve lifts: a knock, a roar, and perhaps it seats again."""
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(1.5, 1.9), 2)}
    p = score.physics
    at = score.between(1.5, 0.4 * score.total_s)
    reseats = score.rng.random() < 0.5
    length = score.between(0.5, 0.9) * (score.total_s - at) if reseats else score.total_s - at + 1.0
    if score.rng.random() < 0.6:
        score.boiling(0.0, at, score.between(-44, -36))
    score.add(
        "blast",
        "blast",
        at,
        length,
        score.between(-14, -7),
        deciding=True,
        peak_hz=p["blast_peak_hz"],
        rise_ms=p["blast_rise_ms"],
        flutter_hz=p["flutter_hz"],
        flutter_depth=round(score.between(0.1, 0.35), 2),
        reseat_s=round(score.between(0.06, 0.2), 3),
    )
    score.add("thump", "thump", at, 0.15, -18.0, low_hz=120.0, ring_s=0.15, hardness=0.5)
    if reseats:
        score.add("thump", "thump", at + length - 0.02, 0.15, -22.0, low_hz=140.0, ring_s=0.12, hardness=0.5)
