"""Hand-made event lists: the bench is judged by what it makes of them, the ear stays out."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

from listen.bench import Judgement, judge, load_machine, parse_did, unknown_machine
from listen.types import Limit, Mains, Quality, SoundEvent

GOOD = Quality(True, (50.0, 16000.0), 0.0, -60.0, -30.0)
TELEPHONE = replace(
    GOOD,
    band_hz=(300.0, 3400.0),
    limits=(
        Limit(
            "narrow_band",
            "A telephone band carries neither the hum nor most of a hiss.",
            ("mains_hum", "mains_buzz", "motor_run", "stroke_train", "hiss", "burst", "click"),
            retake="Record with the phone's own recorder instead of a call.",
        ),
    ),
)
UNUSABLE = replace(
    GOOD,
    usable=False,
    limits=(
        Limit("silent", "Nothing but silence is in this recording.", ("*",), retake="Record again, nearer."),
    ),
)
MAINS = Mains(50, "heard", 50.0)

ROTARY = replace(load_machine("generic-rotary"), shared_pump=False, coils="ac")
VIBRATORY = load_machine("generic-vibratory")
LEVER = load_machine("demo-lever-plumbed")
MANUAL = load_machine("generic-manual-lever")
UNKNOWN = unknown_machine()

_N = iter(range(10**9))


def ev(
    sound: str,
    onset_s: float,
    offset_s: float,
    p: float = 0.9,
    *,
    open_start: bool = False,
    open_end: bool = False,
    **measures: float,
) -> SoundEvent:
    """Make one event with the measures its sound carries by contract."""
    length = offset_s - onset_s
    usual: dict[str, dict[str, float]] = {
        "click_train": {"rate_hz": 12.0, "count": 12.0 * length, "regularity": 0.5},
        "mains_hum": {"line_hz": 100.0, "lines": 3.0, "level_db": 15.0},
        "mains_buzz": {"line_hz": 100.0, "lines": 12.0, "level_db": 18.0},
        "hiss": {"level_db": 12.0, "fall_ms": 50.0, "growth_db_per_min": 3.0, "roughness": 3.6},
        "blast": {"level_db": 25.0, "rise_ms": 20.0, "roughness": 3.6},
    }
    name = f"e{next(_N)}"
    values = MappingProxyType({**usual.get(sound, {}), **measures})
    return SoundEvent(name, sound, onset_s, offset_s, p, values, open_start, open_end)


def click(at_s: float, p: float = 0.9) -> SoundEvent:
    return ev("click", at_s, at_s + 0.03, p)


def say(
    *events: SoundEvent, at: float = 40.0, machine=ROTARY, did=(), quality=GOOD, mains=MAINS, **more
) -> Judgement:
    """Judge events in a clip of `at` seconds, with marks as a person types them."""
    return judge(
        events=events,
        quality=quality,
        mains=mains,
        duration_s=at,
        machine=machine,
        marks=[parse_did(d) for d in did],
        **more,
    )


def codes(judgement: Judgement) -> list[str]:
    return [f.code for f in judgement.findings]


def brew(pump: str = "motor_run", start: float = 3.0, end: float = 28.0) -> list[SoundEvent]:
    """A brew as it should be: click, pump, click, discharge, drips."""
    return [
        click(start),
        ev(pump, start + 0.1, end, slip=0.04),
        click(end),
        ev("burst", end + 0.08, end + 1.0, decay_ms=400.0),
        ev("drip", end + 1.2, end + 5.0, rate_hz=1.0),
    ]


def shut(pump: str = "motor_run", start: float = 3.0, end: float = 28.0) -> list[SoundEvent]:
    """A brew whose valve does not open: the pump alone, and nothing to discharge (common practice)."""
    return [ev(pump, start + 0.1, end, slip=0.04)]


#: The same in a clip that ends before anything could discharge.
SHUT_DID, SHUT_S = ("0:03 brew_on",), 28.5
SHUT = tuple(shut(end=SHUT_S))

BREW_DID = ("0:03 brew_on", "0:28 brew_off")


def fill(start: float = 3.0, end: float = 8.0, pump: str = "motor_run") -> list[SoundEvent]:
    return [click(start), ev(pump, start + 0.05, end, slip=0.04), click(end)]


def without(events: list[SoundEvent], *indices: int) -> list[SoundEvent]:
    return [e for i, e in enumerate(events) if i not in indices]
