"""Keep a clip in the shop's library: recording, story, machine, corrections, in one tap."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bench_page_cards as cards
import bench_page_clips as clips_of_page
import bench_page_hearing as hearing
import bench_page_pictures as pictures
import bench_page_shelf as shelf
import bench_page_story as story
import streamlit as st

from listen.errors import ListenError
from listen.report.to_dict import to_dict
from listen.types import Report

_BY, _KEPT, _TROUBLE = "bench_page_by", "bench_page_kept", "bench_page_keep_trouble"
_CONSENTS = {
    "shop": "for the work on this machine only",
    "learn": "the ear may learn from it too",
    "share": "it may also be passed on, without names",
}


def show(one: hearing.Heard, result: Report, told: hearing.Told, edits: Mapping[str, Any]) -> None:
    """Draw the form; a clip that is kept already says so."""
    kept: dict[str, str] = st.session_state.setdefault(_KEPT, {})
    sha256 = one.clip.sha256
    n = len(edits)
    title = f"Keep this clip{f', with {n} correction' + ('s' if n > 1 else '') if n else ''}"
    with st.expander(title, key="bench_page_keep"):
        if sha256 in kept:
            cards.show("done", text=kept[sha256])
        machine_id = story.library_machine()
        if machine_id is None:
            st.text_input(
                "Name of the machine, as the shop calls it", key="bench_page_keep_machine", max_chars=80,
                placeholder="leave empty if it is nobody's", help="Choose a known one above, under 'Tell about machine and clip'.",
            )  # fmt: skip
        st.text_input("Your name", key=_BY, max_chars=60)
        st.selectbox(
            "What the owner agreed to",
            list(_CONSENTS),
            format_func=_CONSENTS.__getitem__,
            key="bench_page_consent",
        )
        st.checkbox(
            "Everything else is right as heard: nothing is missing in the list", key="bench_page_complete"
        )
        st.checkbox("The machine was found in good order when this was recorded", key="bench_page_good")
        st.button(
            "Keep", type="primary", key="bench_page_keep_button", on_click=_keep, args=(one, result, told, dict(edits)),
        )  # fmt: skip
        if trouble := st.session_state.pop(_TROUBLE, ""):
            cards.show("trouble", name="Not kept", sentence=trouble)


def _keep(one: hearing.Heard, result: Report, told: hearing.Told, edits: dict[str, Any]) -> None:
    by = (st.session_state.get(_BY) or "").strip()
    if not by:
        st.session_state[_TROUBLE] = "Say who you are: what people say is kept with their name."
        return
    try:
        st.session_state[_KEPT][one.clip.sha256] = keep(
            one, result, told, edits, by=by, machine_name=st.session_state.get("bench_page_keep_machine") or "",
            consent=st.session_state.get("bench_page_consent") or "shop",
            complete=bool(st.session_state.get("bench_page_complete")), good=bool(st.session_state.get("bench_page_good")),
        )  # fmt: skip
    except ListenError as error:
        st.session_state[_TROUBLE] = str(error)


def keep(
    one: hearing.Heard, result: Report, told: hearing.Told, edits: Mapping[str, Any], *, by: str, machine_name: str = "",
    consent: str = "shop", complete: bool = False, good: bool = False,
) -> str:  # fmt: skip
    """Put clip, story, machine and labels into the library; return a sentence about it.

    Raises
    ------
    ListenError
        What the library refuses, in its own words.
    """
    library = shelf.library()
    machine = story.library_machine()
    if machine is None and machine_name.strip():
        machine = library.machines.add(machine_name, profile=told.machine, by=by).id
        story.use_library_machine(machine)
    take = clips_of_page.take_of(one.clip)
    record = library.add_clip(
        one.clip.data, machine=machine, name=one.clip.name, story=told.marks, gauges=dict(told.gauges), said=told.said,
        answers=dict(told.answers), capture=dict(take.settings) if take else {}, by=by, consent=consent, report=result,
        worker=hearing.worker(),
    )  # fmt: skip
    if record.was_known:
        record = library.change_clip(
            record.sha256, machine=machine, story=told.marks, gauges=dict(told.gauges), said=told.said
        )
    shown = pictures.taken()
    for one_of_them in shown:
        library.pictures.add(record.sha256, one_of_them.jpeg, shows=one_of_them.shows, by=by)
    n = _label(library, record.sha256, to_dict(result), edits, by, complete)
    if good:
        library.mark_good(record.sha256, by=by)
    where = f" as a clip of {library.machines.get(record.machine).name}" if record.machine else ""
    beside = f" and {len(shown)} picture{'' if len(shown) == 1 else 's'}" if shown else ""
    return f"Kept{where}, with {n} label{'' if n == 1 else 's'}{beside}."


def _label(
    library: Any, sha256: str, report: Mapping[str, Any], edits: Mapping[str, Any], by: str, complete: bool
) -> int:
    """Write what the person says of each sound; what the person left alone counts only where all was confirmed."""
    wanted = []
    for event in report["events"]:
        span = (event["sound"], event["onset_s"], event["offset_s"])
        edit = edits.get(event["id"])
        if edit is None:
            if complete:
                wanted.append((*span, True))
            continue
        if not edit["present"] or edit["sound"] != event["sound"]:
            wanted.append((*span, False))
        if edit["present"]:
            wanted.append((edit["sound"], edit["start_s"], edit["end_s"], True))
    wanted += [
        (edit["sound"], edit["start_s"], edit["end_s"], True) for edit in edits.values() if edit.get("added")
    ]
    have = {(one.sound, one.onset_s, one.offset_s, one.present): one for one in library.labels.of(sha256)}
    length_s = library.clip(sha256).duration_s
    fresh = [
        (sound, max(start_s, 0.0), min(max(end_s, start_s + 0.001), length_s), present)
        for sound, start_s, end_s, present in wanted
    ]
    for key, old in have.items():
        if key not in fresh and old.author == by:
            library.labels.withdraw(old.id, by=by)
    for sound, start_s, end_s, present in fresh:
        if (sound, start_s, end_s, present) not in have:
            library.labels.add(sha256, sound, start_s, end_s, by=by, present=present)
    if complete:
        library.mark_complete(sha256, by=by)
    return len(fresh)
