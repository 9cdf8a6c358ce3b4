"""Choose clips: uploaded files of any kind, or one of the demo."""

from __future__ import annotations

import tempfile
from pathlib import Path

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_story as story
import streamlit as st

from listen.cli.demo_clips import DEMO_TITLES, DemoClip, make_demo

_CLIPS, _TITLE = "bench_page_clips", "bench_page_clips_title"
MAX_CLIPS = 20
MAX_UPLOAD_MB = 200


@st.cache_resource(show_spinner="Making the demo clips …")
def demo_clips() -> tuple[tuple[DemoClip, hearing.Clip], ...]:
    """Synthesise the demo clips once for this server."""
    with tempfile.TemporaryDirectory(prefix="listen-demo-") as folder:
        return tuple(
            (clip, hearing.make_clip(clip.path.name, clip.path.read_bytes()))
            for clip in make_demo(Path(folder))
        )


def choose() -> list[hearing.Clip]:
    """Return the chosen clips; show the ways to choose while there is none."""
    if clips := st.session_state.get(_CLIPS):
        name = st.session_state.get(_TITLE) or (clips[0].name if len(clips) == 1 else f"{len(clips)} clips")
        cards.show_with_button(name, "Other clip", "bench_page_other_clip", _drop)
        return list(clips)
    cards.show("step", title="The clip", note="Any format, several at once.")
    files = st.file_uploader(
        "Recordings or videos from the phone, as they are",
        type=None,
        accept_multiple_files=True,
        max_upload_size=MAX_UPLOAD_MB,
        key="bench_page_upload",
    )
    if files:
        if len(files) > MAX_CLIPS:
            st.session_state[_TITLE] = f"The first {MAX_CLIPS} of {len(files)} clips; send the others later"
        st.session_state[_CLIPS] = [
            hearing.make_clip(file.name, file.getvalue()) for file in files[:MAX_CLIPS]
        ]
        st.rerun()
    cards.show("step", title="No clip at hand?", note="Three synthesised ones of an invented machine:")
    with st.container(horizontal=True):
        for place, title in enumerate(DEMO_TITLES):
            st.button(title, on_click=_take_demo, args=(place,), key=f"bench_page_demo_{place}")
    return []


def _take_demo(place: int) -> None:
    told, clip = demo_clips()[place]
    st.session_state[_CLIPS] = [clip]
    st.session_state[_TITLE] = f"Demo: {told.title}"
    story.fill_in(clip, told.machine, told.marks, told.gauges)


def _drop() -> None:
    st.session_state[_CLIPS] = []
    st.session_state[_TITLE] = ""
    story.forget()
