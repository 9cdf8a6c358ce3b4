"""The time line of a clip: what the player component gets, and the component itself."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st
from streamlit.runtime import get_instance

from listen.features.picture import HIGHEST_HZ, LOWEST_HZ
from listen.report import words
from listen.report.sound import RAISE_BELOW_HZ
from listen.vocabulary import NOT_MACHINE, SOUNDS

_PLAYER = Path(__file__).parent / "bench_page_player"
#: The shape in which a sound is drawn (tone: also what has a beat), so that colour never stands alone.
_SHAPES = {
    "knock": {"click", "thump", "bang", "burst", "drip"},
    "tone": {"mains_hum", "mains_buzz", "motor_run", "stroke_train", "squeal", "honk", "beep", "click_train"},
}
_TICKS_HZ = (100, 300, 1000, 3000, 10000)
_TICK_WORDS = ("100 Hz", "300 Hz", "1 kHz", "3 kHz", "10 kHz")
_AXIS_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600)
#: So many rows stand there at once; the others are a tap away.
LEAD_ROWS = 6
#: More rows than this make a list nobody reads; the lanes still show every event.
MAX_ROWS = 60


def shape_of(sound: str) -> str:
    """Return the drawing shape of a sound: knock, tone, noise or other.

    >>> shape_of("click"), shape_of("speech")
    ('knock', 'other')
    """
    if sound in NOT_MACHINE:
        return "other"
    return next((shape for shape, sounds in _SHAPES.items() if sound in sounds), "noise")


def timeline_data(
    report: dict[str, Any],
    audio_url: str | None,
    picture_url: str,
    *,
    more_urls: Mapping[str, str | None] | None = None,
    room: Mapping[str, str] | None = None,
    good: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Turn a report's dict into what the player draws.

    Parameters
    ----------
    report : dict
        As :func:`listen.report.to_dict.to_dict` gives it.
    audio_url, picture_url : str
        Where the player finds sound (None: not playable) and picture.
    more_urls : mapping, optional
        `raised_url` (the sound with its low hums raised) and `film_url` (the clip itself, for its frames).
    room : mapping, optional
        Event id → what the room alone has of it.
    good : mapping, optional
        `url`, `at_s`, `words` and `more` of a known-good clip in the same state.

    Returns
    -------
    dict
        JSON values; `key` changes whenever anything else does.
    """
    duration_s = report["clip"]["duration_s"] or 0.0
    flagged = {event_id for finding in report["findings"] for event_id in finding["event_ids"]}
    data: dict[str, Any] = {
        "duration_s": duration_s,
        "audio_url": audio_url,
        "no_audio": "This clip is too long to be played here; what was heard is listed with its times.",
        "picture_url": picture_url,
        "states": [_state(span) for span in report["story"]],
        "ticks": [
            {"words": text, "from_top": round(_from_top(hz), 4)}
            for hz, text in zip(_TICKS_HZ, _TICK_WORDS, strict=True)
        ],
        "axis_s": axis_s(duration_s),
        "lanes": _lanes(report, flagged),
        "rows": _rows(report, flagged, room or {}),
        "raised_url": None,
        "film_url": None,
        "raised_words": "Now played two octaves higher below 400 Hz, so that a small speaker can play a hum.",
        **(more_urls or {}),
        "unusual": _unusual(report, flagged),
        "good": dict(good) if good else None,
        "sounds": [{"sound": s, "words": words.sound_words(s), "shape": shape_of(s)} for s in SOUNDS],
    }
    data["key"] = hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()[:16]
    return data


def low_hum(report: dict[str, Any]) -> bool:
    """Tell whether something with a pitch under 400 Hz was heard: a phone's speaker plays none of it."""
    names = ("line_hz", "shaft_hz", "strokes_hz", "tone_hz")
    return any(
        event["measures"].get(name, RAISE_BELOW_HZ) < RAISE_BELOW_HZ
        for event in report["events"]
        for name in names
    )


def _unusual(report: dict[str, Any], flagged: set[str]) -> dict[str, float] | None:
    """Return the span of the loudest event that a finding rests on; the surest where none has a level."""
    events = [event for event in report["events"] if event["id"] in flagged]
    if not events:
        return None
    loudest = max(events, key=lambda e: (e["measures"].get("level_db", -1e9), e["probability"]))
    return {"start_s": loudest["onset_s"], "end_s": loudest["offset_s"]}


def axis_s(duration_s: float) -> list[float]:
    """Return the moments that the time axis names: at most eight, round, from zero on."""
    step = next((s for s in _AXIS_STEPS_S if duration_s / s <= 7), _AXIS_STEPS_S[-1])
    return [float(n * step) for n in range(int(duration_s // step) + 1)]


def _from_top(hz: float) -> float:
    return 1.0 - math.log(hz / LOWEST_HZ) / math.log(HIGHEST_HZ / LOWEST_HZ)


def _state(span: dict[str, Any]) -> dict[str, Any]:
    text = words.state_words(span["state"])
    if span["source"] == "drafted":
        text = f"{text} (our draft)"
    return {"words": text, "source": span["source"], "start_s": span["start_s"], "end_s": span["end_s"]}


def _missing(report: dict[str, Any]) -> list[dict[str, Any]]:
    """List missing sounds, each with the span of the first state of that name."""
    spans = {span["state"]: span for span in reversed(report["story"])}
    whole = {"start_s": 0.0, "end_s": report["clip"]["duration_s"] or 0.0}
    return [
        {**item, "span": spans.get(item["state"], whole)}
        for item in report["expected"]
        if item["status"] == "missing"
    ]


def _lanes(report: dict[str, Any], flagged: set[str]) -> list[dict[str, Any]]:
    lanes: dict[str, dict[str, Any]] = {}

    def lane(sound: str) -> list[dict[str, Any]]:
        fresh = {"words": words.sound_words(sound), "shape": shape_of(sound), "spots": []}
        spots: list[dict[str, Any]] = lanes.setdefault(sound, fresh)["spots"]
        return spots

    for event in report["events"]:
        lane(event["sound"]).append(
            {
                "id": event["id"],
                "start_s": event["onset_s"],
                "end_s": event["offset_s"],
                "flagged": event["id"] in flagged,
                "missing": False,
            }
        )
    for item in _missing(report):
        span = item["span"]
        lane(item["sound"]).append(
            {
                "id": f"missing {item['sound']}",
                "start_s": span["start_s"],
                "end_s": span["end_s"],
                "flagged": False,
                "missing": True,
            }
        )
    return list(lanes.values())


def _rows(report: dict[str, Any], flagged: set[str], room: Mapping[str, str]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for event in report["events"]:
        measured = words.event_measures(event)
        sure = words.sure_words(event["probability"])
        lasts_s = event["offset_s"] - event["onset_s"]
        more = [sure, f"lasts {lasts_s:.1f} s" if lasts_s >= 0.2 else "", measured]
        rows.append(
            {
                "id": event["id"],
                "sound": event["sound"],
                "room": room.get(event["id"], ""),
                "missing": False,
                "shape": shape_of(event["sound"]),
                "when": words.clock(event["onset_s"]),
                "words": words.sound_words(event["sound"]),
                "more": ", ".join(part for part in more if part),
                "flagged": event["id"] in flagged,
                "start_s": event["onset_s"],
                "end_s": event["offset_s"],
                "rank": (event["id"] not in flagged, -event["probability"], event["onset_s"]),
            }
        )
    # What a finding rests on comes first, then what is surest; shown in the order of time.
    rows.sort(key=lambda row: row.pop("rank"))
    rows = [{**row, "lead": place < LEAD_ROWS} for place, row in enumerate(rows[:MAX_ROWS])]
    rows.sort(key=lambda row: row["start_s"])
    for item in _missing(report):
        rows.append(
            {
                "id": f"missing {item['sound']}",
                "sound": item["sound"],
                "room": "",
                "missing": True,
                "lead": True,
                "shape": "missing",
                "when": "missing",
                "words": item["text"] or words.sound_words(item["sound"]),
                "more": f"expected in: {words.state_words(item['state'])}",
                "flagged": False,
                "start_s": item["span"]["start_s"],
                "end_s": item["span"]["end_s"],
            }
        )
    return rows


def media_url(data: bytes, mime: str, place: str) -> str:
    """Serve bytes by URL to this session through Streamlit's own media store."""
    return str(get_instance().media_file_mgr.add(data, mime, place))


@cache
def _component() -> Any:
    read: dict[str, Any] = {
        part: (_PLAYER / f"player.{part}").read_text(encoding="utf-8") for part in ("html", "css")
    }
    js = "".join((_PLAYER / name).read_text(encoding="utf-8") for name in ("correct.js", "player.js"))
    return st.components.v2.component("bench_page_player", js=js, **read)


def show(data: dict[str, Any], edits: Mapping[str, Any], key: str) -> tuple[float | None, dict[str, Any]]:
    """Draw the time line.

    Returns
    -------
    marked_s : float or None
        The moment that the person has just marked.
    edits : dict
        Event id → correction, as the player keeps them.
    """
    result = _component()(
        key=key,
        data={**data, "edits": dict(edits)},
        default={"edits": dict(edits)},
        on_mark_change=lambda: None,
        on_edits_change=lambda: None,
    )
    marked = getattr(result, "mark", None)
    kept = getattr(result, "edits", None)
    return (
        float(marked) if isinstance(marked, int | float) else None,
        dict(kept) if isinstance(kept, Mapping) else {},
    )
