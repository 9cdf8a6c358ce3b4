"""One result a clip: level and what to do first, verdict, time line, checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_story as story
import bench_page_timeline as timeline
import streamlit as st

from listen.types import LEVELS

#: A moment that was marked in the player, for the story form of the next run.
MARKED = "bench_page_marked"
_CHOSEN = "bench_page_chosen_clip"


def show_all(clips: list[hearing.Clip], answers: Mapping[str, str]) -> None:
    """Hear the clips and show the most urgent one; the others are a tap away."""
    heard = []
    with st.spinner("Listening …"):
        for clip in clips:
            heard.append(hearing.hear(clip, story.told(clip, answers)))
    usable = sorted((one for one in heard if one.report), key=_urgency)
    for one in heard:
        if not one.report:
            cards.show("trouble", name=one.clip.name, sentence=one.trouble)
    if not usable:
        return
    chosen = usable[0] if len(usable) == 1 else _pick(usable)
    story.form(chosen.clip)
    show(chosen)


def show(one: hearing.Heard) -> None:
    """Show one clip's result."""
    report: dict[str, Any] = one.report or {}
    cards.show("verdict", report=report)
    wav = hearing.playable(one.clip, report["clip"]["duration_s"] or 0.0)
    marked = timeline.show(report, one.png, wav, key=f"bench_page_player_{one.clip.sha256[:12]}")
    if marked is not None:
        st.session_state[MARKED] = marked
        st.rerun()
    cards.show("findings", findings=report["findings"], title="What is unusual, and the next checks")
    cards.show("expected", report=report)


def _urgency(one: hearing.Heard) -> int:
    return -LEVELS.index(one.report["level"]) if one.report else 0


def _pick(usable: list[hearing.Heard]) -> hearing.Heard:
    by_hash = {one.clip.sha256: one for one in usable}

    def title(sha256: str) -> str:
        report = by_hash[sha256].report or {}
        return f"{report['level'].capitalize()}: {report['clip']['name']}"

    if st.session_state.get(_CHOSEN) not in by_hash:
        st.session_state[_CHOSEN] = usable[0].clip.sha256
    chosen = st.pills("Clips, the most urgent first", list(by_hash), format_func=title, key=_CHOSEN)
    return by_hash.get(chosen or "", usable[0])
