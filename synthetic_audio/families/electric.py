"""Coils and contacts: a valve that buzzes because its armature is not home, a contact that chatters."""

from __future__ import annotations

from synthetic_audio.families import brewing
from synthetic_audio.score import Score


def solenoid_buzz(score: Score) -> None:
    """A brew through which the valve's armature hammers twice a mains cycle, from click to click."""
    on = brewing._lead(score)
    trail = score.between(2.5, 4.0)
    off = score.total_s - trail
    moved = brewing._command(score, on, on=True)
    score.tell(on, "brew")
    start = moved + score.between(0.02, 0.25)
    score.add(
        "buzz",
        "mains_buzz",
        moved + 0.005,
        off - moved,
        score.pump_db + score.between(0, 8),
        deciding=True,
        tilt_db=score.physics["buzz_tilt_db"],
        body_hz=score.physics["body_hz"],
        uneven=round(score.between(0.05, 0.35), 3),
    )
    score.pump(start, off - start, deciding=False)
    moved = brewing._command(score, off, on=False)
    score.discharge(moved + score.between(0.02, 0.09))


def chatter(score: Score) -> None:
    """A relay or valve pulls in and drops out many times a second."""
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(0.8, 1.2), 2)}
    p = score.physics
    at = score.between(1.0, 0.3 * score.total_s)
    length = min(score.between(2.0, 8.0), score.total_s - at - 0.8)
    kind = "relay" if score.rng.random() < 0.6 else "valve_on"
    ring = p["relay_ring_hz"] if kind == "relay" else p["valve_ring_hz"]
    score.add(
        "click_train",
        "click_train",
        at,
        length,
        score.valve_db - 2,
        deciding=True,
        kind=kind,
        ring_hz=ring,
        ring_ms=min(p["valve_ring_ms"], 25.0),
        pulse_ms=0.6,
        bounce_ms=p["bounce_ms"],
        clicks_hz=p["chatter_hz"],
        regularity=round(score.between(8, 40), 1),
    )
    if score.rng.random() < 0.5:
        score.boiling(0.3, score.total_s - 0.5, score.between(-48, -38))
