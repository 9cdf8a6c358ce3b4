"""Record with the phone's own processing switched off: free, or guided by the recording protocol."""

from __future__ import annotations

import base64
import binascii
import io
import math
import wave
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import bench_page_cards as cards
import bench_page_hearing as hearing
import streamlit as st

from listen.bench.protocol import Step, load_protocol
from listen.report import words
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, STATES

_RECORDER = Path(__file__).parent / "bench_page_recorder"
#: As long as the longest guided recording: 29 MB at 48 kHz, 38 MB in the one message that carries them.
LONGEST_S = 300
_RATES_HZ = (8_000, 192_000)
#: What a browser may leave switched on although it was asked not to, and what that does to the evidence.
FLAG_WORDS: dict[str, str] = {
    "noiseSuppression": "noise suppression (it takes steady hum and hiss for noise and removes them)",
    "echoCancellation": "echo cancellation (it cuts pieces out)",
    "autoGainControl": "automatic gain (it evens out loud and quiet)",
}
#: Offered while recording, the usual ones first.
_FREE_MARKS = ("brew_on", "brew_off", "switched_on", "switched_off", "steam_open", "steam_closed", "hot_water_open", "hot_water_closed")  # fmt: skip
_STATE_MARKS: dict[str, tuple[str, ...]] = {
    "off_at_wall": (),
    "cold_start": ("switched_on",),
    "warm_up": (),
    "vent_closing": (),
    "idle_hot": (),
    "auto_fill": ("hot_water_open", "hot_water_closed"),
    "brew": ("brew_on", "brew_off"),
    "brew_end": ("brew_on", "brew_off"),
    "steam": ("steam_open", "steam_closed"),
    "cool_down": ("switched_off",),
}
_WORDS = {
    "record": "Record",
    "stop": "Stop and hear it",
    "about": "about",
    "of": "of",
    "remove": "Remove",
    "sending": "Handing over …",
    "too_loud": "Too loud: the sound is cut off. Lay the phone farther away.",
    "too_quiet": "Very quiet: lay the phone nearer, out of reach of splashes and steam.",
    "too_short": "Under half a second: nothing can be heard in that. Record again.",
    "refused": "The browser was not allowed to use the microphone: allow it in the browser's settings for this "
    "page, or upload a recording.",
    "no_microphone": "This browser gives the page no microphone (it needs a secure address and a microphone): "
    "upload a recording instead.",
}


@dataclass(frozen=True)
class Take:
    """One recording as the browser handed it over."""

    wav: bytes
    duration_s: float
    marks: tuple[StoryMark, ...]
    settings: tuple[tuple[str, Any], ...]

    @property
    def left_on(self) -> tuple[str, ...]:
        """Names of the phone's processing that stayed on although it was asked to be off."""
        known = dict(self.settings)
        return tuple(flag for flag in FLAG_WORDS if known.get(flag) not in (False, None, "none"))


def read_take(value: Mapping[str, Any]) -> Take | None:
    """Turn what the recorder sent into a WAV with its marks; None where it is not what it should be.

    Parameters
    ----------
    value : mapping
        `pcm` (base64 of little-endian int16 mono), `n` (samples), `rate_hz`, `marks`, `settings`.
    """
    try:
        pcm = base64.b64decode(value["pcm"], validate=True)
        rate_hz, n = int(value["rate_hz"]), int(value["n"])
    except (KeyError, TypeError, ValueError, binascii.Error):
        return None
    if not _RATES_HZ[0] <= rate_hz <= _RATES_HZ[1] or len(pcm) != 2 * n or n < rate_hz // 2:
        return None
    if n > rate_hz * (LONGEST_S + 1):
        return None
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(rate_hz)
        writer.writeframes(pcm)
    marks = tuple(mark for raw in value.get("marks") or () if (mark := _mark(raw, n / rate_hz)))
    settings = value.get("settings")
    simple = {
        str(key): item
        for key, item in (settings.items() if isinstance(settings, Mapping) else ())
        if isinstance(item, bool | int | float | str)
    }
    return Take(out.getvalue(), n / rate_hz, marks, tuple(sorted(simple.items())))


def _mark(raw: Any, duration_s: float) -> StoryMark | None:
    if not isinstance(raw, Mapping):
        return None
    at_s, word = raw.get("at_s"), raw.get("word")
    if not isinstance(at_s, int | float) or isinstance(at_s, bool) or not math.isfinite(at_s):
        return None
    if word not in ACTIONS and word not in STATES:
        return None
    return StoryMark(min(max(float(at_s), 0.0), duration_s), str(word))


def offer(answers: Mapping[str, str]) -> tuple[hearing.Clip, Take, Step | None] | None:
    """Draw the recorder; return the clip, its take and the recipe it followed when one has just been made.

    Nothing is drawn unless every question of danger was answered with no.
    """
    steps = load_protocol().steps_after(answers)
    if not steps:
        return None
    by_slug = {step.slug: step for step in steps if step.seconds <= LONGEST_S}
    slug = st.selectbox(
        "What will you record?",
        list(by_slug),
        index=None,
        placeholder="Just record, or choose a guided recording",
        format_func=lambda slug: f"{by_slug[slug].title} ({by_slug[slug].seconds} s)",
        key="bench_page_recipe",
    )
    step = by_slug.get(slug or "")
    if step is not None:
        cards.show("recipe", step=step, always=load_protocol().always_stop_if)
    value = component_value(_data(step), key="bench_page_recorder_taking")
    if value is None:
        return None
    take = read_take(value)
    if take is None:
        cards.show("trouble", name="", sentence="That recording did not arrive whole: record it once more.")
        return None
    name = f"{step.title if step else 'Recording'}, {take.duration_s:.0f} s.wav"
    return hearing.make_clip(name, take.wav), take, step


def actions_of(step: Step) -> tuple[str, ...]:
    """Return the actions that a person taps while following a recipe."""
    return _STATE_MARKS.get(step.state, ())


def component_value(data: dict[str, Any], key: str) -> Mapping[str, Any] | None:
    """Draw the recorder and return what it has just handed over, if anything."""
    result = _component()(key=key, data=data, on_take_change=lambda: None)
    value = getattr(result, "take", None)
    return value if isinstance(value, Mapping) else None


def _data(step: Step | None) -> dict[str, Any]:
    marks = _FREE_MARKS if step is None else actions_of(step)
    return {
        "words": _WORDS,
        "seconds": step.seconds if step else None,
        "longest_s": LONGEST_S,
        "marks": [{"word": word, "words": words.state_words(word).capitalize()} for word in marks],
    }


@cache
def _component() -> Any:
    read: dict[str, Any] = {
        p: (_RECORDER / f"recorder.{p}").read_text(encoding="utf-8") for p in ("html", "css", "js")
    }
    return st.components.v2.component("bench_page_recorder", **read)
