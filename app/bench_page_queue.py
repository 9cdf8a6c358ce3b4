"""What customers sent: stops first; each message with its clips, pictures and a drafted answer to edit."""

from __future__ import annotations

from functools import lru_cache

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_result as result
import bench_page_shelf as shelf
import streamlit as st

from listen.errors import ListenError
from listen.intake.hearing import machine_of
from listen.intake.pictures import redrawn
from listen.library.records import IntakeFile, IntakeRecord
from listen.report import words

_OPEN, _TROUBLE = "bench_page_message", "bench_page_message_trouble"
_STATES = {"new": "New", "heard": "Heard", "waiting": "Waiting", "answered": "Answered"}


def show() -> None:
    """Draw the queue, or the one message that is open."""
    try:
        library = shelf.library()
        if receipt := st.session_state.get(_OPEN):
            _message(library.intake.get(receipt))
            return
        _list()
    except ListenError as error:
        st.session_state.pop(_OPEN, None)
        cards.show("trouble", name="", sentence=str(error))


def _list() -> None:
    cards.show("step", title="Messages from customers", note="Stops first, then the oldest.")
    status = st.pills("Which", list(_STATES), format_func=_STATES.__getitem__, key="bench_page_queue_status")
    search = st.text_input(
        "Search in names, words, machines, receipts", key="bench_page_queue_search", max_chars=80
    )
    found = shelf.library().intake.queue(status=status, search=search or "")
    if not found:
        cards.show("told_nothing", line="Nothing here. A link for a customer: listen intake link")
    for record in found:
        with st.container(border=True):
            cards.show("message_line", record=record, status=_STATES[record.status])
            st.button(
                f"Open {record.receipt}",
                key=f"bench_page_open_{record.receipt}",
                on_click=_open,
                args=(record.receipt,),
            )


def _open(receipt: str | None) -> None:
    st.session_state[_OPEN] = receipt
    if receipt is None:
        st.session_state.pop(_OPEN, None)


def _message(record: IntakeRecord) -> None:
    st.button("Back to all messages", key="bench_page_queue_back", on_click=_open, args=(None,))
    cards.show("message", record=record, status=_STATES[record.status])
    with st.container(horizontal=True):
        for file in record.files:
            if file.kind == "picture" and not file.refused and (picture := _picture(file.sha256)) is not None:
                st.image(picture, width=320, caption=file.name, alt=f"Picture {file.name}")
    for file in record.files:
        if file.refused:
            cards.show("trouble", name=file.name, sentence=file.refused)
    _answer(record)
    # The same file sent twice is shown once.
    sent = {file.sha256: file for file in record.files if file.kind == "audio" and not file.refused}
    clips = list(sent.values())
    for file in clips:
        _clip(record, file, first=file is clips[0])


def _clip(record: IntakeRecord, file: IntakeFile, *, first: bool) -> None:
    clip = hearing.make_clip(file.name, shelf.library().intake.read_file(file))
    told = hearing.Told(
        machine_of(shelf.library(), record),
        gauges=tuple(sorted(record.gauges.items())),
        said=record.said,
        answers=tuple(sorted(record.answers.items())),
    )
    heard = hearing.hear(clip, told)
    if heard.result is None:
        cards.show("trouble", name=file.name, sentence=heard.trouble)
        return
    with st.expander(f"{file.name}: {words.LEVEL_WORDS[heard.result.level]}", expanded=first):
        result.show(heard, told, keeping=False)
        if (shared := hearing.to_share(clip, heard.result)) is not None:
            st.download_button(
                "To pass on: voices muted, without place and device", shared, file_name=f"{record.receipt}.wav",
                mime="audio/wav", key=f"bench_page_share_{file.id}",
            )  # fmt: skip


def _answer(record: IntakeRecord) -> None:
    if record.status == "answered":
        cards.show("done", text=f"Answered by {record.answered_by}: {record.answer}")
        return
    st.session_state.setdefault(f"bench_page_draft_{record.receipt}", record.draft)
    st.text_area(
        "Answer (drafted from what was heard; change it as you like)", key=f"bench_page_draft_{record.receipt}", height=180,
        max_chars=4000,
    )  # fmt: skip
    st.text_input("Your name", key="bench_page_by", max_chars=60)
    with st.container(horizontal=True):
        st.button(
            "Answer", type="primary", key="bench_page_send_answer", on_click=_send, args=(record.receipt,)
        )
        st.button("Wait for the customer", key="bench_page_wait", on_click=_wait, args=(record.receipt,))
    if trouble := st.session_state.pop(_TROUBLE, ""):
        cards.show("trouble", name="Not answered", sentence=trouble)


def _send(receipt: str) -> None:
    by = (st.session_state.get("bench_page_by") or "").strip()
    try:
        if not by:
            raise ListenError("Say who you are: the answer is kept with your name.")
        shelf.library().intake.answer(
            receipt, st.session_state.get(f"bench_page_draft_{receipt}") or "", by=by
        )
    except ListenError as error:
        st.session_state[_TROUBLE] = str(error)


def _wait(receipt: str) -> None:
    draft = st.session_state.get(f"bench_page_draft_{receipt}") or ""
    try:
        shelf.library().intake.set_status(receipt, "waiting", draft=draft)
    except ListenError as error:
        st.session_state[_TROUBLE] = str(error)


@lru_cache(maxsize=32)
def _picture(sha256: str) -> bytes | None:
    try:
        return redrawn(shelf.library().vault.read(sha256))
    except ListenError:
        return None
