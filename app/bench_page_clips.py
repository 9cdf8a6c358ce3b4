"""Choose clips: one recorded here, uploaded files of any kind, or one of the demo."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_pictures as pictures
import bench_page_record as record
import bench_page_story as story
import streamlit as st

from listen.bench.protocol import Step
from listen.cli.demo_clips import DEMO_TITLES, DemoClip, make_demo
from listen.types import StoryMark

_CLIPS, _TITLE = "bench_page_clips", "bench_page_clips_title"
_ROOM, _TAKES = "bench_page_room", "bench_page_takes"
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


def choose(answers: Mapping[str, str]) -> list[hearing.Clip]:
    """Return the chosen clips; show the ways to choose while there is none."""
    if clips := st.session_state.get(_CLIPS):
        name = st.session_state.get(_TITLE) or (clips[0].name if len(clips) == 1 else f"{len(clips)} clips")
        cards.show_with_button(name, "Other clip", "bench_page_other_clip", _drop)
        return list(clips)
    if "yes" not in answers.values():
        cards.show("step", title="Record", note="With the phone's own noise reduction switched off.")
        _room_line()
        if made := record.offer(answers):
            _take_over(*made)
            st.rerun()
    cards.show("step", title="Or upload", note="Recordings or videos as they are, several at once.")
    files = st.file_uploader(
        "Recordings or videos from the phone",
        type=None,
        accept_multiple_files=True,
        max_upload_size=MAX_UPLOAD_MB,
        key="bench_page_upload",
        label_visibility="collapsed",
    )
    if files:
        if len(files) > MAX_CLIPS:
            st.session_state[_TITLE] = f"The first {MAX_CLIPS} of {len(files)} clips; send the others later"
        st.session_state[_CLIPS] = [
            hearing.make_clip(file.name, file.getvalue()) for file in files[:MAX_CLIPS]
        ]
        st.rerun()
    if "yes" not in answers.values():
        pictures.form()
    cards.show("step", title="No clip at hand?", note="Three synthesised ones of an invented machine:")
    with st.container(horizontal=True):
        for place, title in enumerate(DEMO_TITLES):
            st.button(title, on_click=_take_demo, args=(place,), key=f"bench_page_demo_{place}")
    return []


def room() -> hearing.Clip | None:
    """Return the recording of the room alone, machine off at the wall, if one was made for this job."""
    clip: hearing.Clip | None = st.session_state.get(_ROOM)
    return clip


def take_of(clip: hearing.Clip) -> record.Take | None:
    """Return how a clip was recorded, None for one that came as a file."""
    takes: dict[str, record.Take] = st.session_state.get(_TAKES, {})
    return takes.get(clip.sha256)


def _room_line() -> None:
    if room() is not None:
        cards.show_with_button(
            "The room alone is recorded: what it has too will be said",
            "Forget",
            "bench_page_no_room",
            _no_room,
        )


def _no_room() -> None:
    st.session_state.pop(_ROOM, None)


def _take_over(clip: hearing.Clip, take: record.Take, step: Step | None) -> None:
    """Make a recording the clip of this job, or its room where the machine was off at the wall."""
    if step is not None and step.state == "off_at_wall":
        st.session_state[_ROOM] = clip
        return
    st.session_state.setdefault(_TAKES, {})[clip.sha256] = take
    st.session_state[_CLIPS] = [clip]
    st.session_state[_TITLE] = clip.name.removesuffix(".wav")
    marks = list(take.marks)
    if step is not None and not record.actions_of(step):
        # What the recipe says the machine does while nobody touches it; a tapped action says more.
        marks = [StoryMark(0.0, step.state), *marks]
    story.adopt(clip, marks)


def _take_demo(place: int) -> None:
    told, clip = demo_clips()[place]
    st.session_state[_CLIPS] = [clip]
    st.session_state[_TITLE] = f"Demo: {told.title}"
    story.fill_in(clip, told.machine, told.marks, told.gauges)


def _drop() -> None:
    st.session_state[_CLIPS] = []
    st.session_state[_TITLE] = ""
    story.forget()
    pictures.forget()
