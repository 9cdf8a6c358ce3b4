"""The fixed words: sounds the ear names, states, actions, parts of a clip's verdict.

The sounds are acoustic words only. Which part makes them is for the bench to
say. States and actions are the slugs that a story, a machine profile, the
command line and the JSON report share.
"""

from __future__ import annotations

SOUNDS: tuple[str, ...] = (
    "click", "click_train", "thump", "bang", "mains_hum", "mains_buzz", "motor_run",
    "stroke_train", "gravel", "squeal", "honk", "beep", "hiss", "blast", "burst", "boil",
    "water_flow", "splutter", "gurgle", "drip", "rattle", "scrape", "arcing",
    "speech", "music", "grinder", "fan", "clatter", "other",
)  # fmt: skip

#: Sounds that are not the machine, or that hide it.
NOT_MACHINE: frozenset[str] = frozenset({"speech", "music", "grinder", "fan", "clatter", "other"})

STATES: tuple[str, ...] = (
    "off_at_wall", "cold_start", "warm_restart", "warm_up", "vent_closing", "idle_hot",
    "auto_fill", "brew_start", "brew", "brew_end", "line_preinfusion", "cooling_flush",
    "steam", "hot_water", "standby", "cool_down", "lever_pull", "back_flush", "descale",
    "second_group",
)  # fmt: skip

ACTIONS: tuple[str, ...] = (
    "switched_on", "switched_off", "brew_on", "brew_off", "lever_up", "lever_mid", "lever_down",
    "steam_open", "steam_closed", "hot_water_open", "hot_water_closed", "fill_button", "flush",
)  # fmt: skip

#: Gauges a person may read out, all in bar above atmosphere.
GAUGES: tuple[str, ...] = ("boiler", "brew", "line")
