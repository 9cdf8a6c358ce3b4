"""Machine and story: what a person knows, in a few taps; everything may be left open.

Machine and words hold for all clips of a job. State, marks and gauges belong to
one clip alone: a state told of one clip must never excuse a sound in another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_shelf as shelf
import streamlit as st

from listen.bench.inputs import parse_did
from listen.bench.machine import Machine, bundled_machines, load_machine, unknown_machine
from listen.errors import BadParameter, ListenError
from listen.report import words
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, GAUGES, STATES

_MACHINE, _MAINS, _SAID = "bench_page_machine", "bench_page_mains", "bench_page_said"
_AT, _WHAT, _TROUBLE = "bench_page_at", "bench_page_what", "bench_page_mark_trouble"
_STORIES, _OPEN, _GIVEN = "bench_page_stories", "bench_page_story_open", "bench_page_given_machine"
_GAUGE_LABELS = {"boiler": "Boiler gauge, bar", "brew": "Brew gauge, bar", "line": "Water line gauge, bar"}
#: States a clip may begin in, the usual ones first; one tap instead of twenty.
_FIRST_STATES = (
    "idle_hot",
    "warm_up",
    "cold_start",
    "brew",
    "auto_fill",
    "steam",
    "hot_water",
    "off_at_wall",
)


@cache
def _profiles() -> dict[str, Machine]:
    found = [load_machine(name) for name in bundled_machines()]
    return {machine.name: machine for machine in found}


def _story(clip: hearing.Clip) -> dict[str, Any]:
    """Return the clip's own story, with what its form holds now."""
    stories = st.session_state.setdefault(_STORIES, {})
    story: dict[str, Any] = stories.setdefault(clip.sha256, {"begins": None, "marks": [], "gauges": {}})
    if _key("state", clip) in st.session_state:
        story["begins"] = st.session_state[_key("state", clip)]
    for gauge in GAUGES:
        if _key(gauge, clip) in st.session_state:
            story["gauges"][gauge] = st.session_state[_key(gauge, clip)]
    return story


def _key(field: str, clip: hearing.Clip) -> str:
    return f"bench_page_{field}_{clip.sha256[:12]}"


def fill_in(
    clip: hearing.Clip, machine: Machine, marks: Sequence[StoryMark], gauges: Mapping[str, float]
) -> None:
    """Put a known machine and story into the form (for the demo clips)."""
    forget()
    st.session_state[_GIVEN] = machine
    st.session_state[_MACHINE] = machine.name
    st.session_state[_STORIES] = {
        clip.sha256: {
            "begins": None,
            "marks": list(marks),
            "gauges": {k: float(v) for k, v in gauges.items()},
        }
    }


def adopt(clip: hearing.Clip, marks: Sequence[StoryMark]) -> None:
    """Take the marks tapped while recording for the clip's story; the machine stays as told."""
    stories = st.session_state.setdefault(_STORIES, {})
    stories[clip.sha256] = {"begins": None, "marks": list(marks), "gauges": {}}


def forget() -> None:
    """Empty the form: another clip is another story."""
    for key in (_MACHINE, _MAINS, _SAID, _AT, _WHAT, _STORIES, _OPEN, _GIVEN):
        st.session_state.pop(key, None)
    for key in [str(key) for key in st.session_state]:
        if key.startswith(tuple(f"bench_page_{field}_" for field in ("state", *GAUGES))):
            del st.session_state[key]


def mark_moment(at_s: float) -> None:
    """Take over a moment that was marked in the player."""
    st.session_state[_AT] = words.clock(at_s)
    st.session_state[_OPEN] = True


def told(clip: hearing.Clip, answers: Mapping[str, str]) -> hearing.Told:
    """Return what was told about a clip, without drawing anything."""
    story = _story(clip)
    marks = list(story["marks"])
    if story["begins"] and not any(mark.at_s == 0.0 and mark.word in STATES for mark in marks):
        marks = [StoryMark(0.0, story["begins"]), *marks]
    return hearing.Told(
        machine=_known().get(st.session_state.get(_MACHINE) or "") or unknown_machine(),
        mains_hz=st.session_state.get(_MAINS),
        marks=tuple(sorted(marks, key=lambda mark: mark.at_s)),
        gauges=tuple(sorted((name, float(bar)) for name, bar in story["gauges"].items() if bar is not None)),
        said=st.session_state.get(_SAID) or "",
        answers=tuple(sorted(answers.items())),
    )


def form(clip: hearing.Clip) -> None:
    """Draw the form for one clip; :func:`told` reads it."""
    story = _story(clip)
    with st.expander("Tell about machine and clip", expanded=st.session_state.get(_OPEN, False)):
        st.selectbox("Machine", ["Not known", *_known()], key=_MACHINE)
        st.segmented_control(
            "Mains", [50, 60], format_func=lambda hz: f"{hz} Hz", key=_MAINS, help="Leave open if not known."
        )
        _begins(clip, story)
        _marks(clip, story)
        _gauges(clip, story)
        st.text_area("What the customer says, in their words", key=_SAID, max_chars=2000, height=80)
    if line := summary(told(clip, {})):
        cards.show("told", line=line)


def summary(what: hearing.Told) -> str:
    """Say in one line what was told, empty where nothing was."""
    parts = [] if what.machine == unknown_machine() else [what.machine.name]
    parts += [f"mains {what.mains_hz} Hz"] if what.mains_hz else []
    parts += [f"{words.clock(mark.at_s)} {words.state_words(mark.word)}" for mark in what.marks]
    parts += [f"{gauge} gauge {bar:g} bar" for gauge, bar in what.gauges]
    parts += ["words of the customer"] if what.said else []
    return "; ".join(parts)


def _known() -> dict[str, Machine]:
    given = st.session_state.get(_GIVEN)
    return {**_of_library(), **_profiles(), **({given.name: given} if given is not None else {})}


def _of_library() -> dict[str, Machine]:
    """Return the shop's own machines by what the form calls them; none where the library cannot be opened."""
    try:
        library = shelf.library()
        return {
            f"{record.name} ({record.id})": library.machines.profile(record.id)
            for record in library.machines.all()
        }
    except ListenError:
        return {}


def library_machine() -> str | None:
    """Return the short name of the chosen machine where it is one of the library."""
    chosen = st.session_state.get(_MACHINE) or ""
    return chosen.rpartition("(")[2].removesuffix(")") if chosen in _of_library() else None


def use_library_machine(id: str) -> bool:
    """Choose a machine of the library, as a link on a job card does; False where there is none of that name."""
    for label in _of_library():
        if label.endswith(f"({id})"):
            st.session_state[_MACHINE] = label
            return True
    return False


def _begins(clip: hearing.Clip, story: Mapping[str, Any]) -> None:
    st.session_state.setdefault(_key("state", clip), story["begins"])
    st.selectbox(
        "What was it doing when the clip begins?",
        [*_FIRST_STATES, *(state for state in STATES if state not in _FIRST_STATES)],
        index=None,
        placeholder="Not known",
        format_func=lambda state: words.state_words(state).capitalize(),
        key=_key("state", clip),
    )


def _marks(clip: hearing.Clip, story: Mapping[str, Any]) -> None:
    for place, mark in enumerate(story["marks"]):
        cards.show_with_button(
            f"{words.clock(mark.at_s)} {words.state_words(mark.word)}",
            "Remove",
            f"bench_page_remove_{place}",
            _remove,
            (clip, place),
        )
    when, what, add = st.columns([1, 2, 1], vertical_alignment="bottom")
    when.text_input("At (minutes:seconds)", key=_AT, placeholder="0:03")
    what.selectbox(
        "What was done, or what began",
        [*ACTIONS, *STATES],
        index=None,
        placeholder="Choose",
        key=_WHAT,
        format_func=lambda word: words.state_words(word).capitalize(),
    )
    add.button("Add", on_click=_add, args=(clip,), width="stretch", key="bench_page_add")
    if trouble := st.session_state.pop(_TROUBLE, ""):
        cards.show("trouble", name="Not added", sentence=trouble)


def _add(clip: hearing.Clip) -> None:
    at, word = st.session_state.get(_AT) or "", st.session_state.get(_WHAT)
    if word is None:
        st.session_state[_TROUBLE] = "Choose what was done, then add it."
        return
    try:
        mark = parse_did(f"{''.join(at.split()) or '?'} {word}")
    except BadParameter as error:
        st.session_state[_TROUBLE] = str(error)
        return
    story = _story(clip)
    story["marks"] = sorted([*story["marks"], mark], key=lambda each: each.at_s)
    st.session_state[_AT] = ""
    st.session_state[_WHAT] = None


def _remove(clip: hearing.Clip, place: int) -> None:
    story = _story(clip)
    story["marks"] = [mark for n, mark in enumerate(story["marks"]) if n != place]


def _gauges(clip: hearing.Clip, story: Mapping[str, Any]) -> None:
    for column, gauge in zip(st.columns(len(GAUGES)), GAUGES, strict=True):
        st.session_state.setdefault(_key(gauge, clip), story["gauges"].get(gauge))
        column.number_input(
            _GAUGE_LABELS[gauge],
            min_value=-1.0,
            max_value=30.0,
            value=None,
            step=0.1,
            format="%.1f",
            placeholder="not read",
            key=_key(gauge, clip),
        )
