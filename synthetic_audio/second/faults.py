"""Scenes with a fault: a normal step with one thing changed, or a sound that must not be."""

from __future__ import annotations

from synthetic_audio.second.normals import brew, fill
from synthetic_audio.second.plan import Plan


def missing_click_brew(plan: Plan) -> None:
    """The pump runs against a valve that did not open."""
    brew(plan, click="absent", deciding=frozenset({"click", "pump"}))


def missing_click_fill(plan: Plan) -> None:
    """The fill is called and the pump runs, the fill valve does not answer."""
    plan.say(0.0, "idle_hot")
    at_s = plan.between(1.0, 2.5)
    length_s = plan.between(0.5, 0.85) * (plan.duration_s - at_s)
    fill(plan, at_s, length_s, click="absent", deciding=frozenset({"click", "pump"}))


def stalled_motor(plan: Plan) -> None:
    """The motor hums at its place and does not turn."""
    brew(plan, pump="stalled", deciding=frozenset({"pump"}))


def lasting_hiss(plan: Plan) -> None:
    """A small jet at working pressure that does not end."""
    plan.say(0.0, "idle_hot")
    plan.add(
        "hiss", "hiss", 0.0, plan.duration_s, deciding=True, rise_s=0.0, fall_s=0.0, slope_db=plan.between(0, 3),
        knee_hz=plan.between(1800, 4000), spit=plan.between(0, 2.5) if plan.rng.random() < 0.4 else 0.0,
        growth_db=plan.between(0, 2),
    )  # fmt: skip
    if plan.rng.random() < 0.4:
        plan.add(
            "boil",
            "boil",
            plan.between(0, 3),
            plan.between(4, 9),
            louder_db=-3.0,
            rise_s=0.8,
            fall_s=0.8,
            growth_db=2.0,
        )


def blast(plan: Plan) -> None:
    """A valve bursts open above working pressure, and may reseat."""
    plan.say(0.0, "idle_hot" if plan.rng.random() < 0.7 else "warm_up")
    plan.gauges["boiler"] = round(plan.between(1.4, 2.0), 2)
    at_s = plan.between(1.5, 4.0)
    left_s = plan.duration_s - at_s
    reseats = plan.rng.random() < 0.5
    plan.add(
        "blast", "blast", at_s, plan.between(0.35, 0.8) * left_s if reseats else left_s, deciding=True,
        peak_hz=plan.between(900, 2500), rise_s=plan.between(0.004, 0.03), fall_s=plan.between(0.05, 0.4) if reseats else 0.0,
    )  # fmt: skip
    plan.add("boil", "boil", 0.0, plan.duration_s, louder_db=-2.0, rise_s=0.0, fall_s=0.0, growth_db=1.0)


def starved_pump(plan: Plan) -> None:
    """The pump runs and its inlet does not follow."""
    on_s, off_s = brew(plan, deciding=frozenset({"pump"}))
    begin_s = on_s + plan.between(0.4, 1.5)
    plan.add("gravel", "gravel", begin_s, off_s - begin_s, deciding=True, blows_hz=plan.between(200, 700))


def no_burst(plan: Plan) -> None:
    """A loaded brew ends and nothing is let off."""
    brew(plan, burst="absent", deciding=frozenset({"pump", "burst"}))


def fill_too_often(plan: Plan) -> None:
    """Nobody draws water, and the boiler is filled again and again."""
    plan.say(0.0, "idle_hot")
    every_s = plan.between(22, 34)
    at_s = plan.between(4, 12)
    while at_s < plan.duration_s - 6:
        fill(plan, at_s, plan.between(1.5, 4.5), deciding=frozenset({"pump"}))
        at_s += every_s * plan.between(0.92, 1.08)


def fill_never_ends(plan: Plan) -> None:
    """A filling that goes on to the end of the clip."""
    plan.say(0.0, "idle_hot")
    at_s = plan.between(1.0, 2.5)
    fill(plan, at_s, plan.duration_s - at_s, deciding=frozenset({"pump"}))


def solenoid_buzz(plan: Plan) -> None:
    """A held valve knocks at every half cycle, from its click to its fall."""
    on_s, off_s = brew(plan)
    plan.add("coil_buzz", "mains_buzz", on_s + 0.02, off_s - on_s - 0.02, deciding=True)


def chatter(plan: Plan) -> None:
    """A contact or a valve drops out and pulls in again, many times a second."""
    plan.say(0.0, "idle_hot")
    for start_s in (plan.between(0.8, 2.5), plan.between(0.6, 0.75) * plan.duration_s)[
        : int(plan.rng.integers(1, 3))
    ]:
        plan.add(
            "click_train", "click_train", start_s, plan.between(1.5, 3.0 + 0.1 * plan.duration_s), deciding=True,
            rate_hz=plan.between(4, 24), scatter=plan.between(0.12, 0.4),
        )  # fmt: skip
