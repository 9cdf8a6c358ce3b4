"""Stops that need no sound: every gauge rule, question, answer and told pattern, with a twin that stops nothing.

Sentences are invented, as a shop's customers and technicians would say them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from listen.bench import Machine, load_knowledge, load_machine, unknown_machine

_PLATED = Machine(name="plated", safety_valve_plate_bar=1.8)
_RED = Machine(name="red", boiler_band_bar=(0.9, 1.3), boiler_red_bar=1.6)
_BANDED = Machine(name="banded", boiler_band_bar=(0.9, 1.2), safety_valve_plate_bar=1.8)
_BY_HAND = load_machine("generic-manual-lever")


@dataclass(frozen=True, slots=True)
class Told:
    """What is told with a clip, and whether it must stop (`about`: rule, danger, check or pattern)."""

    about: str
    stops: bool
    machine: Machine = field(default_factory=unknown_machine)
    gauges: dict[str, float] = field(default_factory=dict)
    answers: dict[str, str] = field(default_factory=dict)
    did: tuple[tuple[float, str], ...] = ()
    said: str = ""


GAUGES: tuple[Told, ...] = (
    Told("gauge_in_red/boiler_red_bar", True, _RED, {"boiler": 1.6}),
    Told("gauge_in_red/boiler_red_bar", True, _RED, {"boiler": 2.2}, did=((0.0, "idle_hot"),)),
    Told("gauge_in_red/safety_valve_plate_bar", True, _PLATED, {"boiler": 1.7}),
    Told("gauge_in_red/1.6", True, gauges={"boiler": 1.7}),
    Told("gauge_in_red/1.6", True, gauges={"boiler": 3.0}, did=((0.0, "steam"),)),
    Told("gauge_high/boiler_band_bar", True, _BANDED, {"boiler": 1.35}),
    Told("gauge_high/boiler_band_bar", True, _BANDED, {"boiler": 1.35}, did=((0.0, "warm_up"),)),
    Told("brew_gauge_high/14.0", True, gauges={"brew": 15.0}),
    Told("brew_gauge_high/14.0", True, _BANDED, {"brew": 14.5, "boiler": 1.0}, did=((0.0, "brew"),)),
    Told("expansion_valve_shut", True, gauges={"brew": 11.5}, did=((0.0, "warm_up"),)),
    Told("expansion_valve_shut", True, gauges={"brew": 13.0}, did=((0.0, "idle_hot"),)),
    Told("in its band", False, _BANDED, {"boiler": 1.1}, did=((0.0, "idle_hot"),)),
    Told("usual", False, gauges={"boiler": 1.2, "brew": 9.0}, did=((0.0, "brew"),)),
    Told("cold", False, gauges={"boiler": 0.0}, did=((0.0, "cold_start"),)),
)

#: Danger or fault -> sentences that must stop; then the same matter told so that nothing stops.
SENTENCES: dict[str, tuple[str, ...]] = {
    "steam_out": (
        "There is steam coming out of the back of the machine.", "Steam blows from under the cup tray, it leaks steam somewhere.",
        "The safety valve just blew.", "A jet of steam came from the side panel.", "Hot steam is escaping around the lid.", "There is steam everywhere and it hisses."),
    "gauge_red": ("The needle is past the red mark.", "Boiler pressure keeps climbing.", "The gauge is pegged.", "The boiler gauge went off the scale.", "The boiler needle went past 2 bar.", "Pressure is rising and rising and it is in the red."),
    "smoke_smell": ("It smells of burnt plastic.", "I saw sparks behind the panel.", "A bit of smoke came up, then it stopped.", "Something melted inside.", "There is a burning smell when it warms up.", "The plug is scorched."),
    "trip_tingle": ("The breaker trips as soon as I plug it in.", "I feel a tingle when I touch the tray.", "It gave me an electric shock.", "The RCD goes out.", "The fuse blows when the pump starts.", "My barista got a shock from the steam arm."),
    "water_floor": ("There is a puddle under the machine.", "Water is pouring out at the bottom.", "The floor is wet around it.", "The drip tray overflows.", "Water everywhere under the counter.", "It leaks water onto the cables."),
    "handle_stuck": ("The handle is stuck in the group.", "I cannot remove the portafilter, can I open it with force?", "The portafilter won't turn.", "I can't get the portafilter to come off.", "The handle won't come out of the group."),
    "water_runs_off": ("Water keeps running although it is switched off.", "It won't stop filling.", "It is unplugged and water still flows.", "Water still runs with the power off.", "The filling does not stop."),
    "bang_or_dry": ("There was a loud bang from the inside.", "It boiled dry.", "There is no water in the boiler and it was on.", "Something exploded inside.", "It heated without water: the boiler was empty.", "It ran dry over the weekend."),
    "boiler_crackle": ("The boiler crackles like popcorn.", "While heating up, it makes popping noises: the element pops.", "A crackling from the boiler when it heats.", "The element sizzles and pops.", "Popping from the heating element."),
    "boiler_overfull": ("The level in the boiler keeps rising on its own.", "The sight glass is completely full.", "The boiler is overfilled.", "We get wet steam after every brew.", "Water came out of the vacuum valve at the top.", "The water level creeps up although nobody fills."),
    "choked_brew": ("Nothing came out, the pump strained, so I switched off and want to take out the portafilter.", "It is choked; how do I get the handle off?", "The pump was straining against the coffee and nothing came through; I pulled the handle off."),
    "expansion_valve_shut": ("The brew pressure climbs while heating.", "When it heats the brew gauge goes up by itself.", "While it warms up the brew gauge creeps up to twelve."),
    "heater_never_stops": ("The heater never switches off.", "It keeps on heating.", "The heating light never goes out.", "The boiler doesn't stop heating.", "The element won't cut out.", "The heating lamp is always on and it keeps boiling."),
    "limit_tripped": ("The red reset button had popped out.", "The thermal cutout tripped.", "I pressed the reset on the high limit.", "The high limit has tripped.", "Manual reset had to be pushed."),
    "maybe_dry": ("I forgot to turn it off and it was on for five hours.", "It was left on over night.", "The machine was on all night.", "We forgot to switch it off last night.", "It stayed on all weekend."),
    "probe_reads_full": ("Only steam comes from the hot water tap.", "It does not refill after drawing water.", "The hot water tap spits steam and nothing else.", "No refill after drawing hot water.", "Steam comes out of the hot water spout, no water."),
    "pump_dry": ("The pump brings no water and the machine is getting too hot.", "No flow from the pump, only steam from the group, and it overheats.", "The pump doesn't pull water and the group is far too hot."),
    "valve_simmer": ("The safety valve hisses.", "There is a drip from the relief valve.", "A whistling from the safety valve.", "The relief valve weeps a little.", "Something whistles at the safety valve."),
}  # fmt: skip
QUIET: tuple[str, ...] = (
    "Good shot.", "No smoke, no smell, no water on the floor.", "It is just loud.", "The gauge stands at 1.1 bar and the shot ran well.",
    "The milk steamed fine.", "New gasket since Monday.", "The pump is louder than last week.", "The shot runs slowly since the new grinder.",
    "Steam comes out of the wand as it should.", "We descaled it in spring.", "I drew two cups of hot water before.", "The tray was emptied.",
)  # fmt: skip


def cases() -> Iterator[Told]:
    """Yield all that must stop without a sound, then the twins."""
    knowledge = load_knowledge()
    yield from (case for case in GAUGES if case.stops)
    for danger in knowledge.dangers:
        if danger.first_minute:
            yield Told(f"question/{danger.id}", True, answers={danger.id: "yes"})
    for _, entry in knowledge.entries():
        for answer, kinds in (("yes", entry.check.yes_stops), ("no", entry.check.no_stops)):
            if kinds:
                yield Told(f"check/{entry.check.id}", True, answers={entry.check.id: answer})
    for about, sentences in SENTENCES.items():
        machine = _BY_HAND if about == "maybe_dry" else unknown_machine()
        yield from (Told(f"said/{about}", True, machine, said=said) for said in sentences)
    yield from (case for case in GAUGES if not case.stops)
    yield from (Told("said/quiet", False, said=said) for said in QUIET)
    for danger in knowledge.dangers:
        if danger.first_minute:
            yield Told(f"question/{danger.id}", False, answers={danger.id: "no"})
