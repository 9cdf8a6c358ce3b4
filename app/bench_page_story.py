"""Machine and story: what a person knows, in a few taps; everything may be left open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import bench_page_cards as cards
import bench_page_hearing as hearing
import streamlit as st

from listen.bench.inputs import parse_did
from listen.bench.machine import Machine, bundled_machines, load_machine, unknown_machine
from listen.errors import BadParameter
from listen.report import words
from listen.types import StoryMark
from listen.vocabulary import ACTIONS, STATES

_MACHINE, _MAINS, _STATE = "bench_page_machine", "bench_page_mains", "bench_page_state"
_MARKS, _SAID, _AT, _WHAT = "bench_page_marks", "bench_page_said", "bench_page_at", "bench_page_what"
_OPEN = "bench_page_story_open"
_GIVEN = "bench_page_given_machine"
_GAUGES = {"boiler": "Boiler gauge, bar", "brew": "Brew gauge, bar", "line": "Water line gauge, bar"}
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


def fill_in(machine: Machine, marks: Sequence[StoryMark], gauges: Mapping[str, float]) -> None:
    """Put a known machine and story into the form (for the demo clips)."""
    forget()
    st.session_state[_GIVEN] = machine
    st.session_state[_MACHINE] = machine.name
    st.session_state[_MARKS] = list(marks)
    for name, bar in gauges.items():
        st.session_state[f"bench_page_gauge_{name}"] = float(bar)


def forget() -> None:
    """Empty the form: another clip is another story."""
    for key in (
        _MACHINE,
        _MAINS,
        _STATE,
        _SAID,
        _GIVEN,
        _AT,
        _OPEN,
        *(f"bench_page_gauge_{name}" for name in _GAUGES),
    ):
        st.session_state.pop(key, None)
    st.session_state[_MARKS] = []


def mark_moment(at_s: float) -> None:
    """Take over a moment that was marked in the player."""
    st.session_state[_AT] = words.clock(at_s)
    st.session_state[_OPEN] = True


def tell(answers: Mapping[str, str]) -> hearing.Told:
    """Show the form and return what was told."""
    with st.expander(
        "Machine and story: the answer gets better with each", expanded=st.session_state.get(_OPEN, False)
    ):
        machine = _machine()
        mains = st.segmented_control(
            "Mains", [50, 60], format_func=lambda hz: f"{hz} Hz", key=_MAINS, help="Leave open if not known."
        )
        begins = _begins()
        marks = _marks()
        gauges = _gauges()
        said = st.text_area("What the customer says, in their words", key=_SAID, max_chars=2000, height=80)
    if begins is not None and not any(mark.at_s == 0.0 and mark.word in STATES for mark in marks):
        marks = [StoryMark(0.0, begins), *marks]
    return hearing.Told(
        machine=machine,
        mains_hz=mains,
        marks=tuple(sorted(marks, key=lambda mark: mark.at_s)),
        gauges=tuple(sorted(gauges.items())),
        said=said or "",
        answers=tuple(sorted(answers.items())),
    )


def _machine() -> Machine:
    given = st.session_state.get(_GIVEN)
    known = dict(_profiles())
    if given is not None:
        known[given.name] = given
    name = st.selectbox("Machine", ["Not known", *known], key=_MACHINE)
    return known.get(name) or unknown_machine()


def _begins() -> str | None:
    states = [*_FIRST_STATES, *(state for state in STATES if state not in _FIRST_STATES)]
    chosen: str | None = st.selectbox(
        "What was it doing when the clip begins?",
        states,
        index=None,
        placeholder="Not known",
        format_func=lambda state: words.state_words(state).capitalize(),
        key=_STATE,
    )
    return chosen


def _marks() -> list[StoryMark]:
    marks: list[StoryMark] = st.session_state.setdefault(_MARKS, [])
    for place, mark in enumerate(marks):
        cards.show_with_button(
            f"{words.clock(mark.at_s)} {words.state_words(mark.word)}",
            "Remove",
            f"bench_page_remove_{place}",
            _remove,
            (place,),
        )
    when, what, add = st.columns([1, 2, 1], vertical_alignment="bottom")
    when.text_input("At (minutes:seconds)", key=_AT, placeholder="0:03")
    what.selectbox(
        "What was done", [*ACTIONS, *STATES], index=None, placeholder="Choose", key=_WHAT,
        format_func=lambda word: words.state_words(word).capitalize(),
    )  # fmt: skip
    add.button("Add", on_click=_add, width="stretch", key="bench_page_add")
    if trouble := st.session_state.pop("bench_page_mark_trouble", ""):
        cards.show("trouble", name="Not added", sentence=trouble)
    return list(marks)


def _add() -> None:
    at, word = st.session_state.get(_AT) or "", st.session_state.get(_WHAT)
    if word is None:
        st.session_state["bench_page_mark_trouble"] = "Choose what was done, then add it."
        return
    try:
        mark = parse_did(f"{''.join(at.split()) or '?'} {word}")
    except BadParameter as error:
        st.session_state["bench_page_mark_trouble"] = str(error)
        return
    st.session_state[_MARKS] = sorted([*st.session_state[_MARKS], mark], key=lambda each: each.at_s)
    st.session_state[_AT] = ""
    st.session_state[_WHAT] = None


def _remove(place: int) -> None:
    del st.session_state[_MARKS][place]


def _gauges() -> dict[str, float]:
    gauges = {}
    for column, (name, label) in zip(st.columns(len(_GAUGES)), _GAUGES.items(), strict=True):
        bar = column.number_input(
            label,
            min_value=-1.0,
            max_value=30.0,
            value=None,
            step=0.1,
            format="%.1f",
            placeholder="not read",
            key=f"bench_page_gauge_{name}",
        )
        if bar is not None:
            gauges[name] = float(bar)
    return gauges
