"""Brewing: a good shot, and the shots that go wrong at the valve, the motor, the inlet or the drain.

Order and times are common practice: switch, valve or lever, pump within 0.3 s,
brew, off-click, pump stops, burst within 100 ms, drips. The brew is shorter than
a real shot (6-18 s instead of 20-35 s); the story gives its true times.
"""

from __future__ import annotations

from synthetic_audio.score import Score


def _lead(score: Score) -> float:
    score.tell(0.0, "idle_hot")
    score.gauges = {"boiler": round(score.between(0.9, 1.3), 2)}
    return score.between(1.0, min(3.0, 0.2 * score.total_s))


def _command(score: Score, at_s: float, on: bool, decides: bool = False, absent: bool = False) -> float:
    """Play what starts or ends a brew (`absent`: its valve stays shut); return when the valve moved."""
    group = score.machine["group"]
    if group == "lever_drain":
        score.tell(at_s, "lever_up" if on else "lever_down")
        score.lever(at_s, deciding=decides)
        return at_s + 0.01
    if group == "manual_lever":
        score.tell(at_s, "lever_down" if on else "lever_up")
        score.lever(at_s, deciding=decides)
        return at_s + 0.01
    score.tell(at_s, "brew_on" if on else "brew_off")
    moved = at_s + score.between(0.008, 0.03)
    # A push-button on a board makes no sound of its own; a rocker does. Without the valve's click only the
    # silent kind leaves an unmistakable absence, so the faulty scenes use the button.
    if not absent and score.rng.random() < 0.5:
        score.switch(at_s)
    score.valve(moved, opens=on, deciding=decides, absent=absent)
    return moved


def _hold(score: Score, at_s: float, for_s: float) -> None:
    """A solenoid group holds its valve open by current; a lever group needs none."""
    if score.machine["group"] == "solenoid":
        score.held_coil(at_s, for_s)


def _brew_flow(score: Score, at_s: float, for_s: float) -> None:
    if for_s > 1.5:
        score.add(
            "water_flow", "water_flow", at_s, for_s, score.between(-58, -46), where="machine", radius_mm=1.6
        )


def normal_brew(score: Score) -> None:
    """A good shot."""
    on = _lead(score)
    trail = score.between(4.0, 6.0) if score.total_s > 14 else 3.2
    off = score.total_s - trail
    moved = _command(score, on, on=True, decides=True)
    if score.machine["group"] == "manual_lever":
        score.tell(on, "lever_pull")
        score.add("scrape", "scrape", on + 0.3, 0.4, score.valve_db - 14)
        score.add(
            "water_flow",
            "water_flow",
            on + 1.0,
            off - on,
            score.between(-44, -36),
            radius_mm=1.4,
            deciding=True,
        )
        _command(score, off, on=False)
        score.drips(off + 1.2, trail - 1.5)
        return
    score.tell(on, "brew")
    start = moved + score.between(0.02, 0.25)
    _hold(score, moved, off - moved)
    score.pump(start, off - start)
    _brew_flow(score, start + score.between(3.0, 5.0), off - start - 5.0)
    moved = _command(score, off, on=False)
    score.discharge(moved + score.between(0.02, 0.09), deciding=True)
    score.drips(moved + score.physics["burst_decay_s"] + 0.3, trail - score.physics["burst_decay_s"] - 0.8)


def missing_click_brew(score: Score) -> None:
    """The pump runs against a valve that did not open: no click at the start, none at the end, no burst."""
    on = _lead(score)
    off = score.total_s - score.between(1.5, 2.5)
    _command(score, on, on=True, decides=True, absent=True)
    score.tell(on, "brew")
    start = on + score.between(0.05, 0.25)
    score.pump(start, off - start)
    score.tell(off, "brew_off")


def stalled_motor(score: Score) -> None:
    """The valve clicks, the motor hums on the mains and does not turn; a protector may open later."""
    on = _lead(score)
    trail = score.between(1.5, 2.5)
    off = score.total_s - trail
    moved = _command(score, on, on=True)
    score.tell(on, "brew")
    start = moved + score.between(0.02, 0.2)
    p = score.physics
    score.add(
        "hum",
        "mains_hum",
        start,
        off - start,
        score.pump_db + score.between(0, 5),
        deciding=True,
        tilt_db=round(score.between(3.5, 6.0), 2),
        lines=6,
        body_hz=p["body_hz"],
        rise_s=0.02,
        fall_s=0.02,
    )
    # What would be heard if it turned: the clip must be able to carry the comb that is missing.
    score.add(
        "motor",
        "motor_run",
        start,
        off - start,
        score.pump_db,
        deciding=True,
        absent=True,
        poles=p["poles"],
        slip=p["slip"],
        vanes=p["vanes"],
        vane_gain_db=p["vane_gain_db"],
        shaft_tilt_db=p["shaft_tilt_db"],
        body_hz=p["body_hz"],
        run_up_s=p["run_up_s"],
        run_down_s=p["run_down_s"],
    )
    _command(score, off, on=False)


def starved_pump(score: Score) -> None:
    """The pump runs and crackles: too little water or air at its inlet."""
    on = _lead(score)
    trail = score.between(2.0, 3.5)
    off = score.total_s - trail
    moved = _command(score, on, on=True)
    score.tell(on, "brew")
    start = moved + score.between(0.02, 0.25)
    _hold(score, moved, off - moved)
    score.pump(start, off - start, load=0.3, air=0.6)
    from_s = start + score.between(0.5, 1.5)
    score.add(
        "gravel",
        "gravel",
        from_s,
        off - from_s,
        score.pump_db + score.between(1, 8),
        deciding=True,
        impulses_hz=score.physics["gravel_hz"],
        ring_hz=score.physics["gravel_ring_hz"],
    )
    moved = _command(score, off, on=False)
    score.discharge(moved + score.between(0.02, 0.09))


def no_burst(score: Score) -> None:
    """A loaded shot ends and nothing leaves the drain valve: the chamber may still be under pressure."""
    on = _lead(score)
    trail = score.between(4.0, 6.0) if score.total_s > 14 else 3.2
    off = score.total_s - trail
    moved = _command(score, on, on=True)
    score.tell(on, "brew")
    start = moved + score.between(0.02, 0.25)
    _hold(score, moved, off - moved)
    score.pump(start, off - start)
    _brew_flow(score, start + score.between(3.0, 5.0), off - start - 5.0)
    moved = _command(score, off, on=False)
    score.discharge(moved + score.between(0.02, 0.09), deciding=True, absent=True)
