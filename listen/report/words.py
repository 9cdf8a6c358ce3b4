"""The words in which the faces (terminal, HTML, page) say what the slugs mean.

Conventions
-----------
Times read `M:SS.t`. A number never stands without its unit. `fine` never reads
as an all-clear: it says that nothing unusual was heard in this clip.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from listen.bench.knowledge import load_knowledge

LEVEL_WORDS: dict[str, str] = {
    "fine": "nothing unusual heard in this clip",
    "watch": "keep an eye on it",
    "service": "needs service soon",
    "stop": "do not run the machine",
}
VERDICT_WORDS: dict[str, str] = {
    "normal": "sounds normal",
    "abnormal": "sounds abnormal",
    "cannot_tell": "cannot tell from this clip",
}
STATUS_WORDS: dict[str, str] = {
    "heard": "heard",
    "missing": "missing",
    "cannot_tell": "this clip cannot tell",
}
NEEDS_WORDS: dict[str, str] = {
    "look": "look and listen, touch nothing",
    "controls": "controls and water, covers on",
    "covers_off_unplugged": "covers off: unplugged, cold, no pressure",
    "qualified_live": "live measurement: qualified person only",
}
STRENGTH_WORDS: dict[str, str] = {
    "strong": "strong signs",
    "fair": "fair signs",
    "weak": "weak signs",
}
PICTURE_WORDS: dict[str, str] = {
    "gauge": "Gauge",
    "plate": "Rating plate",
    "sight_glass": "Sight glass",
    "wet_spot": "Wet spot",
    "other": "Something else",
}
WHO_WORDS: dict[str, str] = {"customer": "anyone", "technician": "technician"}
SOURCE_WORDS: dict[str, str] = {"given": "as told", "drafted": "our draft, please check"}

#: Only where the slug with spaces does not already read well.
_SOUND_WORDS: dict[str, str] = {
    "click_train": "rapid clicking",
    "mains_hum": "mains hum",
    "mains_buzz": "mains buzz",
    "motor_run": "motor running",
    "stroke_train": "pump strokes",
    "gravel": "gravelly noise",
    "blast": "blast of steam or air",
    "burst": "short discharge",
    "boil": "boiling",
    "water_flow": "water flowing",
    "drip": "dripping",
    "clatter": "clatter of cups",
    "other": "something else",
}
#: Unit suffix of a measure → how it is written. The longest suffix that fits wins.
_UNITS: tuple[tuple[str, str], ...] = (
    ("_db_per_min", "dB a minute"),
    ("_hz", "Hz"),
    ("_db", "dB"),
    ("_ms", "ms"),
    ("_s", "s"),
)
#: From a thousand on the larger unit reads better.
_LARGER: dict[str, str] = {"Hz": "kHz", "ms": "s"}
_MEASURE_WORDS: dict[str, str] = {
    "level_db": "level",
    "stands_db": "stands out by",
    "after_db": "right after it at most",
    "over_quiet_db": "over the quietest second",
    "fall_db": "falls where it ends by",
    "behind_db": "what lasts right after it stands out by",
    "line_hz": "line",
    "tone_hz": "tone",
    "shaft_hz": "shaft",
    "strokes_hz": "strokes",
    "even_lead_db": "even multiples of the mains lead by",
    "centroid_hz": "centre",
    "decay_ms": "dies away in",
    "rise_ms": "rises in",
    "fall_ms": "falls in",
    "low_hz": "from",
    "high_hz": "to",
    "rate_hz": "rate",
    "missing_fraction": "missing strokes",
    "growth_db_per_min": "growth",
}
#: A growth a minute is said only of sounds that last this long (our choice).
GROWTH_FROM_S = 20.0
#: Cautions that stand once under every result.
CAUTIONS: tuple[str, ...] = (
    "This tool only hears. It clears nothing, and a sound that was not heard proves nothing.",
    "Mains voltage, stored pressure, steam and hot water can injure or kill: only a "
    "technician opens a machine, unplugged, cold and without pressure.",
    "Never adjust, block or bypass a safety valve, a high limit or an interlock. Live measurement "
    "is for qualified people; local codes and licensed practice come first.",
)


def sound_words(sound: str) -> str:
    """Name a sound of the ear for a reader.

    >>> sound_words("click_train")
    'rapid clicking'
    """
    return _SOUND_WORDS.get(sound, sound.replace("_", " "))


def state_words(state: str) -> str:
    """Name an operating state or a reported action for a reader, in the bench's words.

    >>> state_words("idle_hot")
    'idle at working temperature'
    """
    knowledge = load_knowledge()
    if state in knowledge.state_words:
        return knowledge.state_words[state]
    if state in knowledge.actions:
        return knowledge.actions[state].words
    return state.replace("_", " ")


def clock(at_s: float) -> str:
    """Write a moment of the clip as minutes, seconds and tenths.

    >>> clock(63.24)
    '1:03.2'
    """
    tenths = round(max(at_s, 0.0) * 10)
    return f"{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"


def limit_words(limit: Mapping[str, Any]) -> str:
    """Say one limit of a clip (as in the JSON report), with its span where it has one."""
    if limit["start_s"] is None or limit["end_s"] is None:
        return str(limit["text"])
    return f"{clock(limit['start_s'])} – {clock(limit['end_s'])}: {limit['text']}"


def sentences(text: str) -> list[str]:
    """Split words that are to be said one after the other.

    >>> sentences("Stand clear. Close the tap.")
    ['Stand clear.', 'Close the tap.']
    """
    return [part for part in re.split(r"(?<=[.!?])\s+(?=[A-Z])", text.strip()) if part]


def sure_words(probability: float) -> str:
    """Say in a word how sure the ear is."""
    if probability >= 0.9:
        return "sure"
    if probability >= 0.7:
        return "likely"
    if probability >= 0.5:
        return "perhaps"
    return "faint hint"


def event_measures(event: Mapping[str, Any]) -> str:
    """Write the leading measures of an event (as in the JSON report) with their units.

    A growth a minute is left out of events under :data:`GROWTH_FROM_S`: it would be
    stretched far beyond what was heard.
    """
    measures = dict(event["measures"])
    if event["offset_s"] - event["onset_s"] < GROWTH_FROM_S:
        measures.pop("growth_db_per_min", None)
    return measure_words(measures)


def measure_words(measures: Mapping[str, float], *, at_most: int = 3) -> str:
    """Write the leading measures with their units.

    >>> measure_words({"level_db": 17.25, "line_hz": 100.02})
    'level 17.2 dB, line 100 Hz'
    """
    ordered = [name for name in _MEASURE_WORDS if name in measures]
    parts = []
    for name in ordered[:at_most]:
        unit = next((words for suffix, words in _UNITS if name.endswith(suffix)), "")
        if name == "rate_hz":
            unit = "a second"
        if name.endswith("_fraction"):
            parts.append(f"{_MEASURE_WORDS[name]} {100 * measures[name]:.0f} %")
            continue
        value = measures[name]
        if unit in _LARGER and abs(value) >= 1000:
            value, unit = value / 1000, _LARGER[unit]
        parts.append(f"{_MEASURE_WORDS[name]} {_short(value)} {unit}".rstrip())
    return ", ".join(parts)


def _short(value: float) -> str:
    if abs(value) >= 100:
        return f"{value:.0f}"
    return f"{value:.1f}".removesuffix(".0")
