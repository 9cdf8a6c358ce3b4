"""The words of the truth: sounds, states, actions. A copy on purpose, so that nothing else is imported."""

from __future__ import annotations

SOUNDS: tuple[str, ...] = (
    "click", "click_train", "thump", "bang", "mains_hum", "mains_buzz", "motor_run",
    "stroke_train", "gravel", "squeal", "honk", "beep", "hiss", "blast", "burst", "boil",
    "water_flow", "splutter", "gurgle", "drip", "rattle", "scrape", "arcing",
    "speech", "music", "grinder", "fan", "clatter", "other",
)  # fmt: skip

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

#: Scenes in which nothing is wrong, or in which no machine is heard.
NORMAL: tuple[str, ...] = (
    "normal_brew", "normal_warm_up", "normal_fill", "normal_steam", "normal_idle", "no_machine",
)  # fmt: skip

FAULTS: tuple[str, ...] = (
    "missing_click_brew", "missing_click_fill", "stalled_motor", "lasting_hiss", "blast",
    "starved_pump", "no_burst", "fill_too_often", "fill_never_ends", "solenoid_buzz", "chatter",
)  # fmt: skip

FAMILIES: tuple[str, ...] = NORMAL + FAULTS

#: Words whose energy stands in narrow lines; their level is judged at the lines.
LINES: frozenset[str] = frozenset(
    {"mains_hum", "mains_buzz", "motor_run", "stroke_train", "squeal", "honk", "beep"}
)

#: Words that last and hardly change: what a phone's noise suppression takes away.
STEADY: frozenset[str] = frozenset(
    {"mains_hum", "mains_buzz", "motor_run", "stroke_train", "hiss", "blast", "boil", "water_flow", "fan"}
)
