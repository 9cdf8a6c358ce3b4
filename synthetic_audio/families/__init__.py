"""One function a family: ``write(score)`` plays the states of a scene in order."""

from __future__ import annotations

from collections.abc import Callable

from synthetic_audio.families import brewing, electric, filling, steam
from synthetic_audio.score import Score

WRITERS: dict[str, Callable[[Score], None]] = {
    "normal_brew": brewing.normal_brew,
    "missing_click_brew": brewing.missing_click_brew,
    "stalled_motor": brewing.stalled_motor,
    "starved_pump": brewing.starved_pump,
    "no_burst": brewing.no_burst,
    "normal_fill": filling.normal_fill,
    "missing_click_fill": filling.missing_click_fill,
    "fill_too_often": filling.fill_too_often,
    "fill_never_ends": filling.fill_never_ends,
    "normal_warm_up": steam.normal_warm_up,
    "normal_idle": steam.normal_idle,
    "normal_steam": steam.normal_steam,
    "lasting_hiss": steam.lasting_hiss,
    "blast": steam.blast,
    "solenoid_buzz": electric.solenoid_buzz,
    "chatter": electric.chatter,
    "no_machine": lambda score: None,
}

#: Family -> (shortest, longest) natural length, and the shortest that can be asked for, in seconds.
LENGTHS_S: dict[str, tuple[float, float, float]] = {
    "normal_brew": (14.0, 28.0, 10.0),
    "missing_click_brew": (9.0, 20.0, 7.0),
    "stalled_motor": (9.0, 20.0, 7.0),
    "starved_pump": (10.0, 22.0, 8.0),
    "no_burst": (13.0, 26.0, 10.0),
    "normal_fill": (9.0, 20.0, 6.0),
    "missing_click_fill": (8.0, 18.0, 6.0),
    "fill_too_often": (90.0, 150.0, 80.0),
    "fill_never_ends": (80.0, 105.0, 76.0),
    "normal_warm_up": (18.0, 30.0, 12.0),
    "normal_idle": (14.0, 30.0, 8.0),
    "normal_steam": (10.0, 25.0, 8.0),
    "lasting_hiss": (12.0, 30.0, 6.0),
    "blast": (10.0, 22.0, 6.0),
    "solenoid_buzz": (12.0, 24.0, 9.0),
    "chatter": (8.0, 20.0, 6.0),
    "no_machine": (8.0, 25.0, 2.0),
}
