"""The same state from a known-good clip of the same machine, to be heard beside what is unusual."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bench_page_shelf as shelf
import bench_page_timeline as timeline

from listen.errors import ListenError
from listen.report import words


def known_good(report: Mapping[str, Any], machine: str | None, sha256: str) -> dict[str, Any] | None:
    """Return what the player needs to play the latest known-good clip in the state of the unusual moment."""
    if machine is None:
        return None
    state = _state(report)
    if state is None:
        return None
    try:
        library = shelf.library()
        for clip in library.clips(machine=machine, good=True):
            at_s = [mark.at_s for mark in clip.story if mark.word == state]
            if clip.sha256 == sha256 or state not in library.states(clip.sha256):
                continue
            sound = library.playable(clip.sha256).read_bytes()
            return {
                "url": timeline.media_url(sound, "audio/flac", f"bench_page_good_{clip.sha256[:12]}"),
                "at_s": at_s[0] if at_s else 0.0,
                "words": f"Known good: {words.state_words(state)}",
                "more": f"Playing {clip.name}, found in good order. It excuses nothing.",
            }
    except (ListenError, OSError):
        return None
    return None


def _state(report: Mapping[str, Any]) -> str | None:
    flagged = {event_id for finding in report["findings"] for event_id in finding["event_ids"]}
    at = [event["onset_s"] for event in report["events"] if event["id"] in flagged]
    moment_s = at[0] if at else 0.0
    spans = [span for span in report["story"] if span["start_s"] <= moment_s <= span["end_s"]]
    return str(spans[-1]["state"]) if spans else None
