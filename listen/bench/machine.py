"""The machine profile: what a technician knows of the machine under test.

Every field but the name may be unknown (None). An unknown field excuses
nothing: a rule that asks for a solenoid group also holds where the group is
unknown, only weaker.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from listen.bench.tables import Table, read_toml
from listen.errors import ProfileError
from listen.resources import knowledge

#: Keys of a profile that hold one of a few words.
CHOICES: dict[str, tuple[str, ...]] = {
    "pump": ("rotary", "vibratory", "gear", "none"),
    "water": ("plumbed", "reservoir", "manual"),
    "group": ("solenoid", "lever_drain", "manual_lever"),
    "boiler": ("single", "hx", "dual"),
    "heat_control": ("pressurestat", "ssr"),
    "fill": ("probe", "manual"),
    "coils": ("ac", "dc"),
}
FLAGS: tuple[str, ...] = ("vacuum_valve", "shared_pump", "sight_glass", "flow_meter")
_COUNTS: dict[str, tuple[int, ...]] = {
    "mains_hz": (50, 60),
    "phases": (1, 3),
    "motor_poles": (2, 4, 6),
    "groups": (1, 2, 3, 4),
}
_GAUGE_PAIRS = ("boiler_band_bar", "brew_band_bar", "line_band_bar")
_GAUGE_NUMBERS = ("boiler_red_bar", "safety_valve_plate_bar")


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine, as far as it is known.

    Attributes
    ----------
    mains_hz : {50, 60} or None
    pump, water, group, boiler, heat_control, fill, coils : str or None
        Words of :data:`CHOICES`.
    vacuum_valve, shared_pump, sight_glass : bool or None
        `shared_pump`: one pump serves both the group and the boiler fill.
    phases, motor_poles : int or None
    boiler_band_bar, brew_band_bar, line_band_bar : (float, float) or None
        Working bands, bar above atmosphere.
    boiler_red_bar, safety_valve_plate_bar : float or None
        Where the red of the boiler gauge begins; the value on the valve's own plate.
    flow_meter : bool or None
        Doses are measured, and a brew stops by itself.
    groups : int or None
    timings : mapping of str to (float, float)
        This machine's own ranges from its known-good clips, s
        (:func:`listen.bench.learn_timings`). They narrow what is usual, never widen it.
    """

    name: str
    mains_hz: int | None = None
    pump: str | None = None
    water: str | None = None
    group: str | None = None
    boiler: str | None = None
    heat_control: str | None = None
    fill: str | None = None
    coils: str | None = None
    vacuum_valve: bool | None = None
    shared_pump: bool | None = None
    sight_glass: bool | None = None
    phases: int | None = None
    motor_poles: int | None = None
    boiler_band_bar: tuple[float, float] | None = None
    brew_band_bar: tuple[float, float] | None = None
    line_band_bar: tuple[float, float] | None = None
    boiler_red_bar: float | None = None
    safety_valve_plate_bar: float | None = None
    about: str = ""
    flow_meter: bool | None = None
    groups: int | None = None
    timings: Mapping[str, tuple[float, float]] = field(default_factory=dict, hash=False)

    def known(self) -> dict[str, object]:
        """Return the fields that are known, without the name."""
        return {
            f.name: value
            for f in fields(self)
            if f.name not in ("name", "about", "timings") and (value := getattr(self, f.name)) is not None
        }


def unknown_machine() -> Machine:
    """Return a machine of which nothing is known."""
    return Machine(name="unknown machine")


def machine_from_table(table: Table) -> Machine:
    """Build a machine from a TOML table.

    Raises
    ------
    ProfileError
        On an unknown key, a wrong word or a value that cannot be.
    """
    values: dict[str, object] = {"name": table.take("name", str), "about": table.take("about", str, "")}
    for key, allowed in CHOICES.items():
        values[key] = table.word(key, allowed, None)
    for key in FLAGS:
        values[key] = table.take(key, bool, None)
    for key, numbers in _COUNTS.items():
        value = table.take(key, int, None)
        if value is not None and value not in numbers:
            raise table.fail(f"{key!r} is {value}; it must be one of {', '.join(map(str, numbers))}.")
        values[key] = value
    gauges = table.table("gauges")
    for key in _GAUGE_PAIRS:
        values[key] = gauges.pair(key)
    for key in _GAUGE_NUMBERS:
        values[key] = gauges.take(key, float, None)
    gauges.done()
    own = table.table("timings")
    values["timings"] = {key: own.pair(key) for key in own.names()}
    own.done()
    table.done()
    machine = Machine(**values)  # type: ignore[arg-type]
    _plausible(machine, table)
    return machine


def _plausible(machine: Machine, table: Table) -> None:
    if not machine.name.strip() or len(machine.name) > 80:
        raise table.fail("'name' must be a text of 1 to 80 characters.")
    readings = [*(machine.boiler_band_bar or ()), machine.boiler_red_bar, machine.safety_valve_plate_bar]
    readings += [*(machine.brew_band_bar or ()), *(machine.line_band_bar or ())]
    for bar in readings:
        if bar is not None and not 0.0 <= bar <= 25.0:
            raise table.fail(
                f"a gauge value of {bar} bar cannot be right; give bar above atmosphere, 0 to 25."
            )
    red, band = machine.boiler_red_bar, machine.boiler_band_bar
    if band is not None and red is not None and red <= band[1]:
        raise table.fail("'boiler_red_bar' must lie above the top of 'boiler_band_bar'.")
    if machine.group == "manual_lever" and machine.pump in ("rotary", "vibratory", "gear"):
        raise table.fail('a manual lever presses the water by hand; set pump = "none".')


def bundled_machines() -> tuple[str, ...]:
    """Return the names under which the shipped, invented profiles can be asked for."""
    return tuple(sorted(path.stem for path in (knowledge() / "machines").glob("*.toml")))


def load_machine(path_or_name: str | Path) -> Machine:
    """Load a profile from a TOML file, or a shipped one by its name.

    Parameters
    ----------
    path_or_name : str or Path
        A file that ends in ``.toml``, or a name of :func:`bundled_machines`.

    Raises
    ------
    ProfileError
        When there is no such profile, or it is not valid.

    Examples
    --------
    >>> load_machine("generic-vibratory").pump
    'vibratory'
    """
    text = str(path_or_name)
    if isinstance(path_or_name, str) and re.fullmatch(r"[a-z0-9-]{1,80}", text):
        path = knowledge() / "machines" / f"{text}.toml"
        if path.is_file():
            return machine_from_table(read_toml(path, f"machine profile {text!r}", ProfileError))
    path = Path(path_or_name)
    try:
        there = path.is_file()
    except (OSError, ValueError):  # no name that a disk could hold
        there = False
    if not there:
        raise ProfileError(
            f"There is no machine profile {text[:100]!r}: "
            f"give a TOML file or one of {', '.join(bundled_machines())}."
        )
    if path.stat().st_size > 100_000:
        raise ProfileError(f"machine profile {path.name!r}: the file is far too large to be a profile.")
    return machine_from_table(read_toml(path, f"machine profile {path.name!r}", ProfileError))


def machine_from(values: Mapping[str, Any]) -> Machine:
    """Build a machine from plain values, as a TOML profile holds them.

    Raises
    ------
    ProfileError
        On an unknown key, a wrong word or a value that cannot be.
    """
    return machine_from_table(Table(values, "machine", ProfileError))
