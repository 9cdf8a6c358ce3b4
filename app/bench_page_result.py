"""One result a clip: level and what to do first, verdict, the next check, time line, findings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bench_page_cards as cards
import bench_page_clips as clips_of_page
import bench_page_good as good
import bench_page_hearing as hearing
import bench_page_keep as keep
import bench_page_ladder as ladder
import bench_page_pictures as pictures
import bench_page_record as record
import bench_page_story as story
import bench_page_timeline as timeline
import streamlit as st

from listen.report import html
from listen.report.room import also_in_room
from listen.report.save import file_stem
from listen.report.to_dict import to_dict
from listen.types import LEVELS, Report, StoryMark

#: A moment that was marked in the player, for the story form of the next run.
MARKED = "bench_page_marked"
_CHOSEN, _EDITS = "bench_page_chosen_clip", "bench_page_edits"
#: Containers that may hold a film; the browser finds out whether it does.
_FILMS = ("mov", "mp4", "matroska", "webm", "3gp")
_LARGEST_FILM = 120_000_000


def show_all(clips: list[hearing.Clip], answers: Mapping[str, str]) -> None:
    """Hear the clips and show the most urgent one; the others are a tap away."""
    heard = []
    with st.spinner("Listening …"):
        for clip in clips:
            heard.append(hearing.hear(clip, story.told(clip, answers)))
    usable = sorted((one for one in heard if one.result), key=_urgency)
    for one in heard:
        if not one.result:
            cards.show("trouble", name=one.clip.name, sentence=one.trouble)
    if not usable:
        return
    chosen = usable[0] if len(usable) == 1 else _pick(usable)
    story.form(chosen.clip)
    show(chosen, story.told(chosen.clip, answers))


def show(one: hearing.Heard, told: hearing.Told, *, keeping: bool = True) -> None:
    """Show one clip's result, as the answers to its checks leave it."""
    if one.result is None:
        return
    key = ladder.key_of(one.clip)
    result = ladder.after_answers(one.result, key, told.machine)
    report = to_dict(result)
    _left_on(one.clip)
    cards.show("verdict", report=report)
    ladder.next_step(result, key)
    _time_line(one, report)
    if keeping:
        pictures.form()
        _to_hand_on(one.clip, result)
        keep.show(one, result, told, edits_of(one.clip))
    cards.show("findings", findings=report["findings"], title="What is unusual, and the checks")
    cards.show("expected", report=report)


def _to_hand_on(clip: hearing.Clip, result: Report) -> None:
    shown = [(one.words, one.jpeg) for one in pictures.taken()]
    st.download_button(
        "Report with pictures, to hand on or print" if shown else "Report, to hand on or print",
        lambda: html.render(result, shown), file_name=f"{file_stem(result.clip.name)}.html", mime="text/html",
        on_click="ignore", key=f"bench_page_report_{clip.sha256[:12]}",
    )  # fmt: skip


def edits_of(clip: hearing.Clip) -> dict[str, Any]:
    """Return the corrections made so far: event id → sound, times, whether it is there."""
    edits: dict[str, dict[str, Any]] = st.session_state.setdefault(_EDITS, {})
    return edits.setdefault(clip.sha256, {})


def _time_line(one: hearing.Heard, report: dict[str, Any]) -> None:
    clip = one.clip
    place = f"bench_page_player_{clip.sha256[:12]}"
    wav, higher = hearing.sounds(clip, report["clip"]["duration_s"] or 0.0, timeline.low_hum(report))
    container = report["clip"]["container"]
    film = clip.data if container.startswith(_FILMS) and len(clip.data) < _LARGEST_FILM else None
    data = timeline.timeline_data(
        report,
        timeline.media_url(wav, "audio/wav", f"{place}.audio") if wav else None,
        timeline.media_url(one.png, "image/png", f"{place}.picture"),
        more_urls={
            "raised_url": timeline.media_url(higher, "audio/wav", f"{place}.raised") if higher else None,
            "film_url": timeline.media_url(film, "video/mp4", f"{place}.film") if film else None,
        },
        room=_room(report),
        good=good.known_good(report, story.library_machine(), clip.sha256),
    )
    marked, edits = timeline.show(data, edits_of(clip), key=place)
    st.session_state[_EDITS][clip.sha256] = edits
    if marked is not None:
        st.session_state[MARKED] = marked
        st.rerun()


def _room(report: dict[str, Any]) -> dict[str, str]:
    room = clips_of_page.room()
    if room is None:
        return {}
    told = hearing.Told(hearing.nothing_told().machine, marks=(StoryMark(0.0, "off_at_wall"),))
    heard = hearing.hear(room, told)
    return also_in_room(report, to_dict(heard.result)) if heard.result else {}


def _left_on(clip: hearing.Clip) -> None:
    take = clips_of_page.take_of(clip)
    if take is not None and take.left_on:
        what = "; ".join(record.FLAG_WORDS[flag] for flag in take.left_on)
        cards.show(
            "trouble",
            name="The phone worked on this recording",
            sentence=f"Although asked not to, it left switched on: {what}. Use the phone's own recorder and "
            "upload the file before you trust what is missing here.",
        )


def _urgency(one: hearing.Heard) -> int:
    return -LEVELS.index(one.result.level) if one.result else 0


def _pick(usable: list[hearing.Heard]) -> hearing.Heard:
    by_hash = {one.clip.sha256: one for one in usable}

    def title(sha256: str) -> str:
        result = by_hash[sha256].result
        return (
            f"{result.level.capitalize()}: {by_hash[sha256].clip.name}" if isinstance(result, Report) else ""
        )

    if st.session_state.get(_CHOSEN) not in by_hash:
        st.session_state[_CHOSEN] = usable[0].clip.sha256
    chosen = st.pills("Clips, the most urgent first", list(by_hash), format_func=title, key=_CHOSEN)
    return by_hash.get(chosen or "", usable[0])
