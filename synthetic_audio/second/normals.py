"""Scenes in which the machine does what it should, and the steps that the fault scenes share with them."""

from __future__ import annotations

from synthetic_audio.second.plan import IMPOSTORS, Plan


def brew(
    plan: Plan,
    *,
    click: str = "heard",
    pump: str = "runs",
    burst: str = "heard",
    deciding: frozenset[str] = frozenset(),
) -> tuple[float, float]:
    """Plan one brew and return when it is switched on and off, s.

    Parameters
    ----------
    plan : Plan
    click, burst : str
        `heard`, or `absent` where the part does not answer.
    pump : str
        `runs` or `stalled`.
    deciding : frozenset of str
        Which of `click`, `pump`, `burst` the answer rests on.
    """
    on_s = plan.between(1.0, 2.5)
    off_s = on_s + plan.between(0.45, 0.7) * (plan.duration_s - on_s)
    lever = plan.machine["group"] == "lever_drain"
    plan.say(0.0, "idle_hot")
    plan.say(on_s, "lever_up" if lever else "brew_on", "brew")
    plan.say(off_s, "lever_down" if lever else "brew_off")

    shut = click == "absent"
    plan.add("click", "click", on_s, absent=shut, deciding="click" in deciding, louder_db=4.0 * shut)
    start_s = on_s + plan.between(0.03, 0.3)
    if pump == "stalled":
        plan.add("stalled", "mains_hum", start_s, off_s - start_s, deciding="pump" in deciding)
    else:
        plan.pump(start_s, off_s - start_s, dead_end=shut, deciding="pump" in deciding)
    if shut:
        return on_s, off_s
    if not lever:
        plan.coil(on_s, off_s - on_s)
    plan.add("water", "water_flow", start_s + plan.between(0.2, 1.5), off_s - start_s - 0.2, louder_db=-4.0)
    plan.add("click", "click", off_s + plan.between(0.0, 0.012), drop=True, louder_db=-3.0)
    if pump == "runs":
        decay_s = plan.between(0.1, 0.4)
        plan.add(
            "burst", "burst", off_s + plan.between(0.025, 0.09), 5 * decay_s, absent=burst == "absent",
            deciding="burst" in deciding, louder_db=3.0 * (burst == "absent"), decay_s=decay_s, peak_hz=plan.between(1800, 5000),
        )  # fmt: skip
        if burst == "heard" and plan.rng.random() < 0.6:
            plan.add(
                "drips",
                "drip",
                off_s + plan.between(0.6, 1.4),
                plan.between(2, 8),
                rate_hz=plan.between(1, 4),
            )
    return on_s, off_s


def fill(
    plan: Plan, at_s: float, length_s: float, *, click: str = "heard", deciding: frozenset[str] = frozenset()
) -> None:
    """Plan one filling of the boiler: valve and pump start together and, if the clip is long enough, end together."""
    end_s = at_s + length_s
    plan.say(at_s, "auto_fill")
    shut = click == "absent"
    plan.add("click", "click", at_s, absent=shut, deciding="click" in deciding, louder_db=4.0 * shut)
    start_s = at_s + plan.between(0.02, 0.25)
    plan.pump(start_s, end_s - start_s, dead_end=shut, deciding="pump" in deciding)
    if not shut:
        plan.coil(at_s, end_s - at_s)
        plan.add("water", "water_flow", start_s + 0.05, end_s - start_s - 0.05, louder_db=-3.0)
    if end_s < plan.duration_s:
        plan.say(end_s, "idle_hot")
        if not shut:
            plan.add("click", "click", end_s + plan.between(0.0, 0.012), drop=True, louder_db=-3.0)


def normal_brew(plan: Plan) -> None:
    """A brew with its clicks, its pump and its discharge."""
    brew(plan, deciding=frozenset({"click", "pump", "burst"}))


def normal_warm_up(plan: Plan) -> None:
    """Warming up: the vent hisses and spits, then shuts at once with a tick; the water grows louder."""
    begin_s, end_s = plan.between(0.0, 1.5), plan.duration_s * plan.between(0.5, 0.85)
    if plan.rng.random() < 0.5:
        begin_s = 0.0
    plan.gauges["boiler"] = round(plan.between(0.0, 0.3), 2)
    plan.say(0.0, "warm_up")
    plan.say(begin_s, "vent_closing")
    plan.say(end_s, "warm_up")
    plan.add(
        "hiss", "hiss", begin_s, end_s - begin_s, deciding=True, rise_s=0.002 if begin_s == 0 else plan.between(0.4, 1.2),
        fall_s=plan.between(0.04, 0.2), slope_db=plan.between(0, 2), knee_hz=plan.between(1800, 3500),
        spit=plan.between(1, 4), growth_db=plan.between(0, 6),
    )  # fmt: skip
    plan.add("click", "click", end_s + 0.01, louder_db=-8.0, drop=True)
    plan.add(
        "boil",
        "boil",
        0.0,
        plan.duration_s,
        louder_db=-5.0,
        rise_s=0.0,
        fall_s=0.0,
        growth_db=plan.between(1, 6),
    )


def normal_fill(plan: Plan) -> None:
    """One filling that ends by itself."""
    plan.say(0.0, "idle_hot")
    at_s = plan.between(1.0, 2.5)
    fill(
        plan,
        at_s,
        plan.between(2.0, min(10.0, plan.duration_s - at_s - 1.5)),
        deciding=frozenset({"click", "pump"}),
    )


def normal_steam(plan: Plan) -> None:
    """The steam tap is opened and shut by hand."""
    on_s = plan.between(0.8, 2.5)
    off_s = on_s + plan.between(0.5, 0.8) * (plan.duration_s - on_s)
    plan.say(0.0, "idle_hot")
    plan.say(on_s, "steam_open", "steam")
    plan.say(off_s, "steam_closed")
    fall_s = plan.between(0.3, 0.9)
    plan.add(
        "jet", "hiss", on_s, off_s - on_s, deciding=True, peak_hz=plan.between(1800, 6000),
        rise_s=plan.between(0.2, 0.9), fall_s=fall_s, water_s=plan.between(0.3, 1.5),
    )  # fmt: skip
    if plan.rng.random() < 0.5:
        plan.add(
            "boil", "boil", on_s + 2.0, plan.duration_s, louder_db=-3.0, rise_s=1.0, fall_s=0.0, growth_db=3.0
        )


def normal_idle(plan: Plan) -> None:
    """Hot and waiting: the heater comes on for a while and the water is heard."""
    plan.say(0.0, "idle_hot")
    on_s = plan.between(0.8, 3.0)
    off_s = on_s + plan.between(0.4, 0.75) * (plan.duration_s - on_s)
    if plan.machine["heat_control"] == "pressurestat":
        plan.add("click", "click", on_s, louder_db=-4.0)
        plan.add("click", "click", off_s, louder_db=-6.0, drop=True)
    plan.add(
        "boil", "boil", on_s + plan.between(0.2, 0.8), off_s - on_s, deciding=True,
        rise_s=plan.between(0.5, 1.5), fall_s=plan.between(0.5, 1.5), growth_db=plan.between(0, 4),
    )  # fmt: skip


def no_machine(plan: Plan) -> None:
    """A room, and one to three things in it that are not the machine."""
    plan.gauges.clear()
    kinds = plan.rng.choice(list(IMPOSTORS), int(plan.rng.integers(1, 4)), replace=False)
    for kind in kinds:
        plan.impostor(str(kind))
