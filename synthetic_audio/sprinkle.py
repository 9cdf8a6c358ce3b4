"""Strokes of arbitrary things, strewn over a drawn scene: for training only.

A machine of the synthesiser clicks in the few ways its parts allow, and whoever
learns from it alone knows those and no others. What is strewn here covers all
that could be called a click, beside what begins as suddenly and is none: things
that ring on, puffs, knocks, tones and noises that set in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from synthetic_audio.spec import Event, Spec
from synthetic_audio.sprinkle_household import household

#: Mean count in ten seconds of strokes, and of short sounds that are none.
_CLICKS, _OTHERS = 2.5, 2.0
#: The same of noises that last: few in one scene, many in another.
_LASTING = (0.3, 3.0)
#: Share of scenes with a crowd of strokes that are none of a machine's, and strokes a second in it.
_CROWDED, _CROWD_RATE_HZ = 0.2, (0.6, 10.0)
#: Share of scenes with a household's sounds beside the machine's.
_HOUSEHOLDS = 0.45
#: Peak level at the microphone, dB re full scale.
_LEVELS_DB = (-58.0, -8.0)
#: A click is over within this, ms (-60 dB at 1 kHz).
_CLICK_RING_MS = (2.0, 60.0)


def sprinkle(spec: Spec, rng: np.random.Generator) -> Spec:
    """Return the scene with strokes and other sudden sounds strewn over it.

    The events that it had render as before.
    """
    extra = []
    lasting = _log(rng, *_LASTING)
    for mean, kinds in ((_CLICKS, (_click,)), (_OTHERS, _NO_CLICKS), (lasting, _NOISES)):
        for at_s in rng.uniform(
            0.05, max(0.1, spec.duration_s - 0.1), rng.poisson(mean * spec.duration_s / 10)
        ):
            kind = kinds[int(rng.integers(len(kinds)))]
            extra.append(kind(rng, float(at_s), float(rng.uniform(*_LEVELS_DB))))
    if rng.random() < _CROWDED:
        extra += _crowd(rng, spec.duration_s)
    # A stream of its own, so that whatever is drawn after this stays as it was.
    at_home = rng.spawn(1)[0]
    if at_home.random() < _HOUSEHOLDS:
        extra += household(at_home, spec.duration_s)
    return replace(spec, events=(*spec.events, *extra))


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _stroke(rng: np.random.Generator, at_s: float, level_db: float, **own: float) -> Event:
    low_hz = _log(rng, 500.0, 4500.0)
    params = {
        "low_hz": low_hz,
        "high_hz": low_hz * _log(rng, 1.3, 14.0),
        "modes": round(_log(rng, 1.0, 50.0)),
        "ring_ms": _log(rng, *_CLICK_RING_MS),
        "ring_fall": rng.uniform(0.0, 1.0),
        "tilt_db": rng.uniform(-6.0, 3.0),
        "contact_ms": _log(rng, 0.04, 2.0),
        "bounces": int(rng.integers(0, 5)),
        "gap_ms": _log(rng, 0.7, 9.0),
        "noise": rng.uniform(0.0, 1.0) if rng.random() < 0.5 else 0.0,
        "noise_ms": _log(rng, 0.5, 8.0),
        "body": rng.uniform(0.0, 0.7) if rng.random() < 0.6 else 0.0,
        "attack_ms": 0.0,
    } | own
    where = "machine" if rng.random() < 0.8 else "room"
    sound = "click" if params["ring_ms"] <= _CLICK_RING_MS[1] and not params["attack_ms"] else None
    return Event("struck", sound, round(at_s, 4), 0.03, round(level_db, 2), params, where)


def _click(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    return _stroke(rng, at_s, level_db)


def _crowd(rng: np.random.Generator, duration_s: float) -> list[Event]:
    """Beans in a grinder, crackling, things knocked about: many strokes of one making, unevenly in time."""
    kind, level_db = _stroke(rng, 0.0, 0.0), float(rng.uniform(*_LEVELS_DB))
    begins_s, for_s = float(rng.uniform(-2.0, max(0.0, duration_s - 1.5))), _log(rng, 1.5, 20.0)
    spread_db, likeness = rng.uniform(1.0, 7.0), rng.uniform(0.05, 0.6)
    strokes = []
    for at_s in rng.uniform(begins_s, begins_s + for_s, rng.poisson(_log(rng, *_CROWD_RATE_HZ) * for_s)):
        own = {
            name: kind.params[name] * float(np.exp(rng.normal(0.0, likeness)))
            for name in ("low_hz", "high_hz", "ring_ms", "contact_ms")
        }
        own["high_hz"] = max(own["high_hz"], 1.2 * own["low_hz"])
        if 0.05 < at_s < duration_s - 0.1:
            level = round(level_db + float(rng.normal(0.0, spread_db)), 2)
            strokes.append(
                replace(
                    kind,
                    sound=None,
                    at_s=round(float(at_s), 4),
                    level_db=min(level, -3.0),
                    params={**kind.params, **own},
                )
            )
    return strokes


def _ringing(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A glass, a lid, a spoon: rings on."""
    return _stroke(rng, at_s, level_db, ring_ms=_log(rng, 180.0, 800.0), ring_fall=rng.uniform(0.0, 0.3))


def _puff(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A soft touch: rises in a hundredth of a second or more."""
    return _stroke(
        rng, at_s, level_db, attack_ms=_log(rng, 12.0, 60.0), noise=1.0, noise_ms=_log(rng, 5.0, 40.0)
    )


def _setting_in(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A noise that begins at once and stays."""
    params = {
        "peak_hz": _log(rng, 500.0, 9000.0),
        "edge": rng.uniform(0.3, 3.0),
        "rise_ms": _log(rng, 0.5, 30.0),
    }
    return Event(
        "sudden_noise", None, round(at_s, 4), round(_log(rng, 0.12, 0.6), 3), round(level_db - 8, 2), params
    )


def _tone(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A tone that is switched on and off."""
    params = {"tone_hz": _log(rng, 400.0, 6000.0), "rise_ms": _log(rng, 0.5, 30.0)}
    return Event(
        "sudden_tone", None, round(at_s, 4), round(_log(rng, 0.1, 1.0), 3), round(level_db - 8, 2), params
    )


def _knock(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """Something low and dull."""
    params = {
        "low_hz": _log(rng, 40.0, 180.0),
        "ring_s": _log(rng, 0.1, 0.5),
        "hardness": rng.uniform(0.0, 0.5),
    }
    return Event("thump", "thump", round(at_s, 4), 0.2, round(level_db, 2), params)


def _bang(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A hard, loud knock with all it shakes."""
    params = {
        "low_hz": _log(rng, 40.0, 180.0),
        "ring_s": _log(rng, 0.1, 0.5),
        "hardness": rng.uniform(0.7, 1.6),
    }
    return Event("thump", "bang", round(at_s, 4), 0.2, round(min(-2.0, 0.4 * level_db), 2), params)


def _arcing(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    return Event("arcing", "arcing", round(at_s, 4), round(_log(rng, 0.3, 3.0), 3), round(level_db, 2))


def _lasting(
    rng: np.random.Generator, sound: str, at_s: float, for_s: float, level_db: float,
    peaks_hz: tuple[float, float], rises_ms: tuple[float, float], **own: float,
) -> Event:  # fmt: skip
    """A noise of any make: smooth, fluttering or of grains."""
    params = {
        "rise_ms": _log(rng, *rises_ms),
        "flutter": rng.uniform(0.0, 0.8),
        "flutter_hz": _log(rng, 2.0, 60.0),
    }
    params |= own
    if rng.random() < 0.5:
        params |= {"peak_hz": _log(rng, *peaks_hz), "edge": rng.uniform(0.3, 2.0)}
        return Event("sudden_noise", sound, round(at_s, 4), round(for_s, 3), round(level_db, 2), params)
    params |= {
        "centre_hz": _log(rng, *peaks_hz),
        "octaves": rng.uniform(0.2, 1.5),
        "noise": rng.uniform(0.3, 1.0),
    }
    params |= {
        "grains_hz": _log(rng, 300.0, 8000.0),
        "ring_ms": _log(rng, 1.0, 30.0),
        "spread_db": rng.uniform(0.0, 9.0),
    }
    return Event("grains", sound, round(at_s, 4), round(for_s, 3), round(level_db, 2), params)


def _burst(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A release that is soon over."""
    decay_s = _log(rng, 0.25, 2.2)
    return _lasting(rng, "burst", at_s, decay_s, level_db - 8, (700.0, 8000.0), (2.0, 40.0), decay_s=decay_s)


def _blast(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A jet that opens at once, loud and broad."""
    return _lasting(rng, "blast", at_s, _log(rng, 1.2, 6.0), 0.3 * level_db - 5, (500.0, 3500.0), (3.0, 80.0))


def _hiss(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """A jet that stays thin."""
    return _lasting(
        rng, "hiss", at_s, _log(rng, 1.2, 10.0), 0.8 * level_db - 14, (2500.0, 10000.0), (30.0, 1500.0)
    )


def _cloud(
    rng: np.random.Generator, sound: str, at_s: float, for_s: float, level_db: float,
    centres_hz: tuple[float, float], rates_hz: tuple[float, float], rings_ms: tuple[float, float], **own: float,
) -> Event:  # fmt: skip
    params = {
        "centre_hz": _log(rng, *centres_hz), "octaves": rng.uniform(0.2, 1.0), "grains_hz": _log(rng, *rates_hz),
        "ring_ms": _log(rng, *rings_ms), "noise": rng.uniform(0.0, 0.4), "spread_db": rng.uniform(1.0, 8.0),
        "rise_ms": _log(rng, 5.0, 300.0), "flutter": rng.uniform(0.0, 0.5), "flutter_hz": _log(rng, 1.0, 15.0),
    } | own  # fmt: skip
    # What runs may have run before the clip began.
    at_s = 0.0 if rng.random() < 0.3 else at_s
    return Event("grains", sound, round(at_s, 4), round(for_s, 3), round(level_db, 2), params)


def _flow(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """Water that runs and splashes: bubbles that ring."""
    for_s = _log(rng, 2.0, 30.0)
    return _cloud(
        rng, "water_flow", at_s, for_s, 0.8 * level_db - 10, (400.0, 4000.0), (80.0, 3000.0), (3.0, 40.0)
    )


def _gravel(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """Vapour bubbles that collapse: hard, short, uneven."""
    for_s = _log(rng, 1.5, 8.0)
    own = {"noise": rng.uniform(0.3, 1.0), "spread_db": rng.uniform(4.0, 9.0)}
    return _cloud(
        rng, "gravel", at_s, for_s, 0.8 * level_db - 8, (900.0, 6000.0), (40.0, 500.0), (1.0, 8.0), **own
    )


def _boil(rng: np.random.Generator, at_s: float, level_db: float) -> Event:
    """Water that begins to boil in its vessel: low, dense, growing."""
    for_s = _log(rng, 4.0, 30.0)
    own = {"grow_db": rng.uniform(0.0, 10.0), "rise_ms": _log(rng, 200.0, 2000.0)}
    return _cloud(
        rng, "boil", at_s, for_s, 0.6 * level_db - 22, (200.0, 1400.0), (30.0, 800.0), (5.0, 60.0), **own
    )


#: What is short, or seldom played in a scene, comes more often.
_NOISES: tuple[Callable[[np.random.Generator, float, float], Event], ...] = (
    _burst, _blast, _hiss, _flow, _flow, _gravel, _boil, _arcing, _arcing, _arcing,
)  # fmt: skip
_NO_CLICKS: tuple[Callable[[np.random.Generator, float, float], Event], ...] = (
    _ringing, _puff, _setting_in, _tone, _knock, _bang,
)  # fmt: skip
