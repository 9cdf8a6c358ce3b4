"""Scenes that call for a stop by their sound, each with a twin in which that sound belongs.

Conventions
-----------
A writer plays one scene on a synthesiser's score. With `wrong` it plays what calls
for the stop; without, the twin: the same or the nearest sound where it is normal, or
one fact flipped. Every stop pattern of the knowledge that rests on a sound has its
family here (a test holds that). Gauges are left unread, or stand where they stop
nothing, so that only the sound can stop. Order, times and levels: common practice
and the synthesiser's own ranges.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from synthetic_audio.draw import MAINS_DEVIATION_HZ, draw_phone, to_spec
from synthetic_audio.families import brewing, filling, steam
from synthetic_audio.machines import draw_physics, draw_profile
from synthetic_audio.randomness import generator
from synthetic_audio.score import Score
from synthetic_audio.spec import Spec
from synthetic_audio.surroundings import add_background, add_surroundings

#: What a person says of a scene, in their own words; most say nothing.
Words = str
Writer = Callable[[Score, bool], Words]


@dataclass(frozen=True, slots=True)
class StopFamily:
    """One way in which a sound calls for a stop.

    Attributes
    ----------
    name : str
        Slug of the family.
    code : str
        The fault of the knowledge that it calls for.
    patterns : tuple of str
        Names of that fault's stop patterns which it carries.
    write : callable
    length_s : (float, float)
        Shortest and longest clip; twins that need less say so in `twin_length_s`.
    like : str
        Family of the synthesiser whose machines can show it.
    machine : mapping
        What else the profile must say.
    told : bool
        False: the technician gives no story.
    hides : tuple of str
        Parts of the profile that the technician does not know.
    weight : float
        Share of the usual count of scenes (long ones are fewer).
    least_db : float
        How far over all else the sound must stand before its pattern asks for a stop.
    by_telephone : bool
        False: a telephone's codec may take away the sound that is missed, so that its absence says nothing there (here a
        codec is a band and no more; `shortfall` prints how many releases real codecs leave).
    """

    name: str
    code: str
    patterns: tuple[str, ...]
    write: Writer
    length_s: tuple[float, float]
    like: str = ""
    machine: Mapping[str, Any] = field(default_factory=dict)
    told: bool = True
    hides: tuple[str, ...] = ()
    weight: float = 1.0
    twin_length_s: tuple[float, float] | None = None
    least_db: float = 0.0
    by_telephone: bool = True


def _one_of(score: Score, *words: str) -> str:
    return str(score.rng.choice(list(words)))


def _arcing(score: Score, wrong: bool) -> Words:
    state = _one_of(score, "idle_hot", "warm_up", "standby", "brew", "auto_fill") if wrong else "off_at_wall"
    if state == "brew":
        brewing.normal_brew(score)
    else:
        score.tell(0.0, state)
    if state == "auto_fill":
        score.pump(-0.5, score.total_s + 1.0, deciding=False)
    if state == "warm_up":
        score.boiling(0.0, score.total_s + 1.0, score.between(-46, -36))
    at = score.between(1.5, 0.35 * score.total_s)
    # The twin is a pan elsewhere in the room while the machine is off at the wall.
    score.add("arcing", "arcing", at, score.between(1.0, 4.0), score.between(-20, -6), deciding=True)
    return ""


def _arcing_untold(score: Score, wrong: bool) -> Words:
    if wrong:
        at = score.between(1.5, 0.35 * score.total_s)
        score.add("arcing", "arcing", at, score.between(1.5, 5.0), score.between(-20, -6), deciding=True)
    else:
        add_background(
            score, score.rng, score.split, _one_of(score, "clatter", "crackle", "rain"), louder_db=6.0
        )
    return ""


def _jet(score: Score, at_s: float, for_s: float) -> None:
    p = score.physics
    score.add(
        "blast", "blast", at_s, for_s, score.between(-14, -7), deciding=True, peak_hz=p["blast_peak_hz"],
        rise_ms=p["blast_rise_ms"], flutter_hz=p["flutter_hz"], flutter_depth=round(score.between(0.1, 0.35), 2),
        reseat_s=round(score.between(0.06, 0.2), 3),
    )  # fmt: skip
    score.add("thump", "thump", at_s, 0.15, -18.0, low_hz=120.0, ring_s=0.15, hardness=0.5)


def _blast(score: Score, wrong: bool) -> Words:
    at = score.between(1.5, 0.4 * score.total_s)
    ends = score.rng.random() < 0.5
    length = score.between(0.5, 0.8) * (score.total_s - at) if ends else score.total_s - at + 1.0
    state = _one_of(score, "idle_hot", "standby", "warm_up", "cool_down", "off_at_wall")
    score.tell(0.0, state if wrong else "idle_hot")
    if not wrong:
        score.tell(at - 0.1, "steam_open")
        if ends:
            score.tell(at + length, "steam_closed")
    if score.rng.random() < 0.5:
        score.boiling(0.0, at, score.between(-44, -36))
    _jet(score, at, length)
    return ""


def _blast_after_steaming(score: Score, wrong: bool) -> Words:
    """Steam is drawn, the tap is shut, and a jet begins; twin: the tap is opened again."""
    score.tell(0.0, "idle_hot")
    opens, drawn_s = score.between(1.0, 2.0), score.between(3.0, 5.0)
    score.tell(opens, "steam_open")
    score.add(
        "wand", "hiss", opens, drawn_s, score.between(-26, -14), peak_hz=score.physics["wand_peak_hz"],
        rise_s=score.physics["wand_rise_s"], fall_s=0.3,
    )  # fmt: skip
    closed = opens + drawn_s + 0.2
    score.tell(closed, "steam_closed")
    at = closed + score.between(3.0, 5.0)
    if not wrong:
        score.tell(at - 0.1, "steam_open")
    _jet(score, at, score.total_s - at + 1.0)
    return ""


def _blast_untold(score: Score, wrong: bool) -> Words:
    if wrong:
        at = score.between(1.5, 0.4 * score.total_s)
        _jet(score, at, score.total_s - at + 1.0)
    elif score.rng.random() < 0.5 and score.machine["pump"] != "none":
        brewing.normal_brew(score)
    else:
        steam.normal_warm_up(score)
    return ""


def _boiler_crackle(score: Score, wrong: bool) -> Words:
    score.tell(0.0, _one_of(score, "warm_up", "idle_hot"))
    score.boiling(
        -0.5,
        score.total_s + 1.0,
        score.between(-40, -30),
        deciding=True,
        grow_db=round(score.between(1, 5), 1),
    )
    at = score.between(2.0, 0.3 * score.total_s)
    score.add(
        "gravel", "gravel", at, score.total_s - at - 0.5, score.between(-28, -14), deciding=True,
        impulses_hz=score.physics["gravel_hz"], ring_hz=score.physics["gravel_ring_hz"],
    )  # fmt: skip
    return "" if wrong else "The sight glass is half full."


def _element_bang(score: Score, wrong: bool) -> Words:
    in_brew = not wrong and score.rng.random() < 0.5
    if in_brew:
        brewing.normal_brew(score)
    else:
        score.tell(0.0, _one_of(score, "warm_up", "cold_start"))
        score.boiling(0.0, score.total_s + 1.0, score.between(-48, -40))
    score.add(
        "thump", "bang", score.between(2.0, 0.6 * score.total_s), 0.2, score.between(2, 10), deciding=True,
        low_hz=round(score.between(50, 140), 1), ring_s=round(score.between(0.12, 0.4), 3),
        hardness=round(score.between(0.7, 1.3), 2),
    )  # fmt: skip
    return "" if wrong or in_brew else "The bang is my colleague at the knock-box."


def _fill(score: Score, wrong: bool) -> Words:
    if wrong:
        filling.fill_never_ends(score)
        score.gauges = {}
    else:
        score.tell(0.0, "idle_hot")
        at = score.between(1.0, 2.5)
        length = score.total_s - at - score.between(2.0, 3.0)
        filling._fill(score, at, length)
        score.tell(at + length, "idle_hot")
    return ""


def _line_fill(score: Score, wrong: bool) -> Words:
    """A fill from the line, without a pump: the valve's coil hums and water runs."""
    score.tell(0.0, "idle_hot")
    at = score.between(1.0, 2.0)
    length = score.total_s - at + 0.5 if wrong else score.total_s - at - 2.0
    score.tell(at, "auto_fill")
    score.valve(at, opens=True)
    score.add(
        "hum", "mains_hum", at, length, score.between(-40, -28), deciding=True, tilt_db=5.0, lines=5,
        body_hz=score.physics["body_hz"],
    )  # fmt: skip
    score.add("water_flow", "water_flow", at + 0.2, length - 0.2, score.between(-44, -34), radius_mm=2.0)
    if not wrong:
        score.valve(at + length, opens=False)
        score.tell(at + length, "idle_hot")
    return ""


def _first_fill(score: Score, wrong: bool) -> Words:
    score.tell(0.0, "cold_start")
    at = score.between(1.0, 2.0)
    length = score.total_s - at + 0.5 if wrong else score.total_s - at - 3.0
    score.valve(at, opens=True)
    score.pump(at + 0.05, length, load=0.3)
    if not wrong:
        score.valve(at + length, opens=False)
    return ""


def _brewed(score: Score, on_s: float, off_s: float, pump_to_s: float) -> None:
    """Play a brew from its command to its end; the pump runs to `pump_to_s`."""
    moved = brewing._command(score, on_s, on=True)
    score.tell(on_s, "brew")
    start = moved + score.between(0.02, 0.2)
    brewing._hold(score, moved, off_s - moved)
    score.pump(start, pump_to_s - start)


def _flow_runs_on(score: Score, wrong: bool) -> Words:
    on = brewing._lead(score)
    score.gauges = {}
    off = on + score.between(5.0, 7.0)
    _brewed(score, on, off, off)
    for event in score.events:
        if event.sound in ("motor_run", "stroke_train"):
            score.events[score.events.index(event)] = _not_deciding(event)
    runs_to = score.total_s + 0.5 if wrong else off + score.between(0.5, 1.5)
    flow_from = on + score.between(2.0, 3.0)
    score.add(
        "water_flow", "water_flow", flow_from, runs_to - flow_from, score.between(-44, -32), deciding=True,
        radius_mm=1.6,
    )  # fmt: skip
    brewing._command(score, off, on=False)
    score.discharge(off + 0.08)
    return ""


def _not_deciding(event: Any) -> Any:
    from dataclasses import replace

    return replace(event, deciding=False)


def _boils_over_band(score: Score, wrong: bool) -> Words:
    score.tell(0.0, "idle_hot")
    top = score.machine["gauges"]["boiler_band_bar"][1]
    # Above the band, and below the reading at which the gauge alone would stop.
    score.gauges = {"boiler": round(top + score.between(0.03, 0.08), 2) if wrong else round(top - 0.2, 2)}
    length = score.total_s + 1.0 if wrong else score.total_s - 4.0
    score.boiling(-0.5, length, score.between(-38, -26), deciding=True, grow_db=1.0)
    return ""


def _boils_and_grows(score: Score, wrong: bool) -> Words:
    score.tell(0.0, "idle_hot" if wrong else "warm_up")
    score.boiling(
        -0.5, score.total_s + 1.0, score.between(-34, -22), deciding=True,
        grow_db=round(score.between(9, 15), 1), turn=1.0,
    )  # fmt: skip
    return ""


def _no_click_no_burst(score: Score, wrong: bool) -> Words:
    if not wrong:
        brewing.normal_brew(score)
        return ""
    on = brewing._lead(score)
    off = score.total_s - score.between(4.0, 5.0)
    brewing._command(score, on, on=True, decides=True, absent=True)
    score.tell(on, "brew")
    start = on + score.between(0.05, 0.25)
    score.pump(start, off - start)
    score.tell(off, "brew_off")
    score.discharge(off + 0.05, deciding=True, absent=True)
    return ""


def _no_burst(score: Score, wrong: bool) -> Words:
    (brewing.no_burst if wrong else brewing.normal_brew)(score)
    return ""


def _dry_tap(score: Score, wrong: bool) -> Words:
    """From the opened hot-water tap comes steam alone; twin: water that flashes at first."""
    score.tell(0.0, "idle_hot")
    at = score.between(1.0, 2.0)
    length = score.total_s - at - score.between(1.0, 2.0)
    score.tell(at, "hot_water_open")
    if wrong:
        score.add(
            "wand", "hiss", at, length, score.between(-28, -16), deciding=True,
            peak_hz=score.physics["wand_peak_hz"], rise_s=score.physics["wand_rise_s"], fall_s=0.3,
        )  # fmt: skip
    else:
        score.add(
            "splutter",
            "splutter",
            at,
            length,
            score.between(-36, -26),
            splutter_hz=score.physics["splutter_hz"],
        )
        score.add("water_flow", "water_flow", at, length, score.between(-36, -26), radius_mm=1.6)
    score.tell(at + length, "hot_water_closed")
    return ""


def _pump_runs_on(score: Score, wrong: bool) -> Words:
    on = brewing._lead(score)
    score.gauges = {}
    off = on + score.between(5.0, 7.0)
    # The twin's pump runs on for a fill that waited, and stops with its valve.
    to = score.total_s + 0.5 if wrong else off + score.between(6.0, 12.0)
    _brewed(score, on, off, to)
    brewing._command(score, off, on=False)
    score.discharge(off + 0.08)
    if not wrong:
        score.valve(off + 0.5, opens=True)
        score.valve(to, opens=False)
    return ""


def _pump_runs_on_told(score: Score, wrong: bool) -> Words:
    on = brewing._lead(score)
    score.gauges = {}
    off = on + score.between(5.0, 7.0)
    _brewed(score, on, off, score.total_s + 0.5 if wrong else off)
    brewing._command(score, off, on=False)
    score.discharge(off + 0.08)
    return "I stop the shot and it keeps running."


def _flow_while_off(score: Score, wrong: bool) -> Words:
    if wrong:
        score.tell(0.0, _one_of(score, "off_at_wall", "standby"))
    else:
        score.tell(0.0, "hot_water")
    score.add(
        "water_flow", "water_flow", -0.5, score.total_s + 1.0, score.between(-44, -30), deciding=True,
        radius_mm=round(score.between(1.0, 2.0), 2),
    )  # fmt: skip
    return ""


_JETS = (
    "jet in a given state with every tap shut",
    "sudden loud deep hiss in a given state with every tap shut",
    "sudden loud hiss in a given state with every tap shut, its depth not carried",
    "very loud hiss in a given state with every tap shut",
    "sudden release that goes on as a hiss, in a given state with every tap shut",
)
_BAND = {"gauges": {"boiler_band_bar": [0.9, 1.3]}}
FAMILIES: tuple[StopFamily, ...] = (
    StopFamily("arcing", "arcing", ("sizzle in a given state of a machine that is on",), _arcing, (12, 20), "no_burst", weight=1.4),
    StopFamily("arcing_untold", "arcing", ("sizzle, no story",), _arcing_untold, (8, 16), told=False),
    StopFamily(
        "blast", "blast",
        _JETS,
        _blast, (10, 20), weight=1.5,
    ),
    StopFamily(
        "blast_after_steaming", "blast",
        _JETS,
        _blast_after_steaming, (17, 24),
    ),
    StopFamily("blast_untold", "blast", ("jet that no given state explains", "very loud hiss, no story"), _blast_untold, (14, 22), "normal_warm_up", told=False),
    StopFamily("boiler_crackle", "boiler_crackle", ("crackle over boiling with no pump, level not proven", "crackle in a given warm-up with no pump, level not proven"), _boiler_crackle, (12, 24), weight=1.4),
    StopFamily(
        "element_bang", "element_failed", ("loud bang in a given warm-up",), _element_bang, (12, 20), "no_burst",
        least_db=25.0,
    ),
    StopFamily(
        "fill_never_ends", "fill_never_ends", ("pump for more than 60 s in a given fill or idle state", "pump that starts in a given warm-up and runs for more than 60 s",), _fill, (78, 95), "fill_never_ends",
        weight=0.7, twin_length_s=(30, 50),
    ),
    StopFamily(
        "line_fill_never_ends", "fill_never_ends", ("hum for more than 60 s in a given fill", "motor for more than 60 s in a given fill of a machine without a pump"), _line_fill, (70, 85), "fill_never_ends",
        {"pump": "none"}, weight=0.6, twin_length_s=(20, 40),
    ),
    StopFamily(
        "first_fill", "fill_never_ends", ("first fill for more than 180 s",), _first_fill, (186, 195), "fill_never_ends", weight=0.4,
        twin_length_s=(80, 130),
    ),
    StopFamily("flow_runs_on", "flow_runs_on", ("flow for a long time after a given stop", "steady noise as of water for a long time after a given stop"), _flow_runs_on, (28, 36), "no_burst"),
    StopFamily(
        "boils_over_band", "heater_never_stops", ("boiling on and on at a given idle, gauge at the top of its band", "boiling with hardly a break at a given idle, gauge at the top of its band",), _boils_over_band,
        (36, 48), machine=_BAND, twin_length_s=(20, 28),
    ),
    StopFamily(
        "boils_and_grows", "heater_never_stops", ("boiling that grows for more than a minute and a half at a given idle",),
        _boils_and_grows, (98, 110), weight=0.5,
    ),
    StopFamily(
        "no_click_no_burst", "missing_click_brew", ("no click at a given brew start and no discharge after it", "no click at a given brew start and no discharge made out after it"), _no_click_no_burst,
        (14, 24), "missing_click_brew",
    ),
    StopFamily("no_burst", "no_burst", ("no discharge after a given brew", "no discharge made out after a given brew, in a clip that may hide one"), _no_burst, (13, 26), "no_burst", weight=1.5, by_telephone=False),
    StopFamily(
        "no_burst_group_unknown", "no_burst", ("no discharge after a given brew, group not known",), _no_burst, (13, 26), "no_burst",
        hides=("group",), weight=0.6, by_telephone=False,
    ),
    StopFamily("dry_tap", "probe_reads_full", ("dry hiss from a given hot-water tap, no fill", "dry hiss from a given hot-water tap, no fill, through a call", "even dry hiss from a given hot-water tap, no fill, through a wide-band call", "plain dry hiss from a given hot-water tap, no fill"), _dry_tap, (14, 20), "fill_too_often"),
    StopFamily(
        "pump_runs_on", "pump_runs_on", ("pump runs on for more than a minute",), _pump_runs_on, (74, 84), "no_burst", weight=0.5,
        twin_length_s=(26, 32), machine={"shared_pump": True},
    ),
    StopFamily(
        "pump_runs_on_told", "pump_runs_on", ("pump runs on and water with it, as told", "hum of the brew goes on, and that it keeps running is told"), _pump_runs_on_told, (22, 30), "no_burst",
    ),
    StopFamily(
        "flow_while_off", "valve_passes", ("flow in a given state off at the wall or on standby", "steady noise as of water in a given state off at the wall or on standby"), _flow_while_off, (8, 20),
    ),
)  # fmt: skip


def draw_stop(family: StopFamily, seed: int, wrong: bool, split: str) -> tuple[Spec, Words]:
    """Draw a scene of a family, or its twin.

    Parameters
    ----------
    family : StopFamily
    seed : int
    wrong : bool
        False draws the twin.
    split : str
        Ranges to draw machine, room and phone from: `train`, `held_out` or `outer`.

    Returns
    -------
    spec : Spec
        Its story and profile are what the technician tells of it.
    said : str
    """
    name = f"stop:{family.name}" if wrong else f"twin:{family.name}"
    rng = generator(seed, split, name, "scene")
    nominal = int(rng.choice([50, 60]))
    true_hz = round(nominal + float(rng.uniform(-MAINS_DEVIATION_HZ, MAINS_DEVIATION_HZ)), 4)
    machine = draw_profile(rng, family.like, nominal) | dict(family.machine)
    if machine["pump"] == "none" and family.like == "fill_never_ends":
        machine |= {"water": "plumbed"}  # the line itself presses the water in
    physics = draw_physics(rng, split)
    lengths = family.length_s if wrong or family.twin_length_s is None else family.twin_length_s
    score = Score(rng, machine, physics, true_hz, round(float(rng.uniform(*lengths)), 2), split)
    said = family.write(score, wrong)
    score.machine = {key: value for key, value in machine.items() if key not in family.hides}
    if not family.told:
        score.story, score.gauges = [], {}
    score.story.sort(key=lambda told: told[0])
    add_surroundings(score, generator(seed, split, name, "around"), split, None)
    return to_spec(score, seed, split, name, draw_phone(generator(seed, split, name, "chain"), physics)), said
