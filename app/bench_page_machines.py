"""The shop's machines: job card with its code, known-good clips, past clips with their outcomes."""

from __future__ import annotations

import bench_page_cards as cards
import bench_page_shelf as shelf
import bench_page_story as story
import bench_page_trend as trend
import streamlit as st

from listen.errors import ListenError
from listen.lan.addresses import served_address
from listen.lan.qr import svg_code
from listen.library.records import ClipRecord, MachineRecord
from listen.report import words
from listen.types import LEVELS

_TROUBLE, _MACHINE = "bench_page_outcome_trouble", "bench_page_shown_machine"
_SHOWN_CLIPS = 30


def show() -> None:
    """Draw the list of machines, and the chosen one."""
    try:
        machines = {record.id: record for record in shelf.library().machines.all()}
    except ListenError as error:
        cards.show("trouble", name="", sentence=str(error))
        return
    cards.show("step", title="Machines", note="Past clips, what was heard, what the repair confirmed.")
    if not machines:
        cards.show(
            "told_nothing", line="None yet: keep a clip under the name of its machine, and it stands here."
        )
        return
    asked = st.query_params.get("machine")
    if _MACHINE not in st.session_state and asked in machines:
        st.session_state[_MACHINE] = asked
    chosen = st.selectbox(
        "Machine",
        list(machines),
        index=None,
        format_func=lambda id: machines[id].name,
        key=_MACHINE,
        placeholder="Choose",
    )
    if chosen is not None:
        _machine(machines[chosen])


def _machine(record: MachineRecord) -> None:
    library = shelf.library()
    st.button(
        "Hear this machine", type="primary", key="bench_page_hear_machine", on_click=_hear, args=(record.id,)
    )
    clips = library.clips(machine=record.id, limit=_SHOWN_CLIPS)
    rows = []
    for clip in clips:
        opinions = library.opinions(clip.sha256)
        outcomes = library.outcomes.of(clip=clip.sha256)
        rows.append((clip, opinions[0] if opinions else None, outcomes[-1] if outcomes else None))
    counts = {level: sum(o is not None and o.level == level for _, o, _ in rows) for level in LEVELS}
    cards.show("machine", record=record, rows=rows, counts=counts)
    if rows:
        trend.show(record.id)
    for clip, _, _ in rows:
        _past_clip(clip)
    _job_card(record)


def _past_clip(clip: ClipRecord) -> None:
    with st.expander(f"{clip.name}, {(clip.recorded_at or clip.added_at)[:10]}: play, pictures, outcome"):
        sound = shelf.library().playable(clip.sha256)
        st.audio(sound.read_bytes(), format="audio/flac")
        for picture in shelf.library().pictures.of(clip.sha256):
            st.image(
                shelf.library().pictures.read(picture),
                width=260,
                caption=words.PICTURE_WORDS[picture.shows],
                alt=words.PICTURE_WORDS[picture.shows],
            )
        key = clip.sha256[:12]
        st.text_input("Part that was at fault", key=f"bench_page_part_{key}", max_chars=120)
        st.text_input("Cause", key=f"bench_page_cause_{key}", max_chars=200)
        st.text_input("What shows it", key=f"bench_page_evidence_{key}", max_chars=400)
        st.text_input("Confirmed by", key=f"bench_page_confirmed_{key}", max_chars=60)
        st.button(
            "Confirm after the repair",
            key=f"bench_page_confirm_{key}",
            on_click=_confirm,
            args=(clip.sha256,),
        )
        if trouble := st.session_state.pop(f"{_TROUBLE}_{key}", ""):
            cards.show("trouble", name="Not kept", sentence=trouble)


def _confirm(sha256: str) -> None:
    key = sha256[:12]
    given = {
        f: (st.session_state.get(f"bench_page_{f}_{key}") or "").strip()
        for f in ("part", "cause", "evidence")
    }
    try:
        shelf.library().outcomes.add(
            clip=sha256, by=st.session_state.get(f"bench_page_confirmed_{key}") or "", **given
        )
    except ListenError as error:
        st.session_state[f"{_TROUBLE}_{key}"] = str(error)


def _hear(id: str) -> None:
    if story.use_library_machine(id):
        st.query_params["view"] = "hear"


def _job_card(record: MachineRecord) -> None:
    with st.expander("Code for the job card"):
        try:
            url = f"{served_address(shelf.library().place.home)}/?machine={record.id}"
        except ListenError as error:
            cards.show("trouble", name="", sentence=str(error))
            return
        st.image(
            svg_code(url),
            width=220,
            caption=f"Opens {record.name} on the page",
            alt=f"Code with the address of {record.name}",
        )
        st.code(url, language=None)
