"""How the bench writes times, numbers and sounds in a sentence: no more digits than a person uses."""

from __future__ import annotations

from functools import lru_cache

from listen.bench.tables import read_toml
from listen.errors import KnowledgeError
from listen.resources import knowledge
from listen.vocabulary import SOUNDS

_FILE = "sounds/sounds.toml"


@lru_cache(maxsize=1)
def _sound_words() -> dict[str, str]:
    words = read_toml(knowledge() / _FILE, _FILE, KnowledgeError).table("sounds").rest()
    if odd := sorted(set(words) ^ set(SOUNDS)):
        raise KnowledgeError(f"{_FILE}: sound {', '.join(odd)} missing or not known.")
    return words


def sound_words(sound: str) -> str:
    """Name a sound of the ear for a reader.

    Examples
    --------
    >>> sound_words("motor_run")
    'motor running'
    """
    return _sound_words()[sound]


def clock(at_s: float) -> str:
    """Write a moment of the clip as a person reads it.

    Examples
    --------
    >>> clock(63.4)
    '1:03.4'
    """
    tenths = round(max(at_s, 0.0) * 10)
    return f"{tenths // 600}:{tenths % 600 // 10:02d}.{tenths % 10}"


def about(value: float, unit: str) -> str:
    """Write a measured value: whole numbers from ten on, else one digit; frequencies whole from a hundred on.

    Examples
    --------
    >>> about(1.491, "dB"), about(24.04, "Hz"), about(100.02, "Hz"), about(17.25, "dB")
    ('about 1.5 dB', 'about 24 Hz', 'about 100 Hz', 'about 17 dB')
    """
    digits = 0 if abs(value) >= (100.0 if unit == "Hz" else 10.0) else 1
    text = f"{value:.{digits}f}"
    return f"about {text.removesuffix('.0')} {unit}"


def lasting(seconds: float) -> str:
    """Write a duration.

    Examples
    --------
    >>> lasting(3.04), lasting(100.0), lasting(360.0)
    ('3.0 s', '100 s', '6 min')
    """
    if seconds >= 180.0:
        return f"{seconds / 60.0:.1f}".removesuffix(".0") + " min"
    return f"{seconds:.0f} s" if seconds >= 60.0 else f"{seconds:.1f} s"
