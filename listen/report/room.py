"""What the room alone has too: the clip beside a recording with the machine off at the wall.

It is said beside what was heard and excuses nothing: a machine may hum beside a
refrigerator that hums.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: A line, tone or shaft rate within this of one in the room counts as the same (our choice).
SAME_HZ = 0.6
_PITCH = ("line_hz", "tone_hz", "shaft_hz", "strokes_hz")
#: Steady sounds without a pitch that a room may have by itself.
_STEADY = ("hiss", "fan", "water_flow", "music", "speech")


def also_in_room(report: Mapping[str, Any], room: Mapping[str, Any]) -> dict[str, str]:
    """Tell which events of a clip the room has without the machine.

    Parameters
    ----------
    report, room : mapping
        Reports as :func:`listen.report.to_dict.to_dict` gives them; `room` of a recording with the
        machine off at the wall.

    Returns
    -------
    dict
        Event id → sentence.
    """
    found = {}
    for event in report["events"]:
        for other in room["events"]:
            if other["sound"] == event["sound"] and (sentence := _same(event, other)):
                found[event["id"]] = sentence
                break
    return found


def _same(event: Mapping[str, Any], other: Mapping[str, Any]) -> str:
    for name in _PITCH:
        mine, theirs = event["measures"].get(name), other["measures"].get(name)
        if mine is not None and theirs is not None:
            if abs(mine - theirs) <= SAME_HZ:
                return f"the room alone has it too, at {theirs:.1f} Hz, with the machine off"
            return ""
    if event["sound"] in _STEADY:
        return "the room alone has such a sound too, with the machine off"
    return ""
