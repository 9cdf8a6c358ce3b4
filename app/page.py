"""The page: first the danger, then the clip, then what was heard and what to check.

Run by `listen page`. Thin on purpose: every word and number comes from the package.
"""

from __future__ import annotations

import bench_page_cards as cards
import bench_page_clips as clips
import bench_page_machines as machines
import bench_page_questions as questions
import bench_page_queue as queue
import bench_page_result as result
import bench_page_story as story
import bench_page_style as style
import streamlit as st

#: The machine of a job card's link was taken over.
_CARD = "bench_page_card_taken"
_VIEWS = {"hear": "Hear", "messages": "Messages", "machines": "Machines"}


def main() -> None:
    """Lay out one run of the page."""
    st.set_page_config(page_title="Listen", page_icon=style.icon(), layout="centered")
    style.apply()
    if result.MARKED in st.session_state:
        story.mark_moment(st.session_state.pop(result.MARKED))
    cards.show("top")
    view = _view()
    if view == "messages":
        queue.show()
    elif view == "machines":
        machines.show()
    else:
        _hear()
    cards.show("cautions")


def _view() -> str:
    """Draw the way from view to view; the address names the view, so that a link can lead to it."""
    asked = st.query_params.get("view", "hear")
    now = asked if asked in _VIEWS else "hear"
    with st.container(horizontal=True, key="bench_page_views"):
        for view, label in _VIEWS.items():
            st.button(
                label, key=f"bench_page_view_{view}", on_click=_go, args=(view,), type="primary" if view == now else "secondary"
            )  # fmt: skip
    return now


def _go(view: str) -> None:
    st.query_params["view"] = view


def _hear() -> None:
    if (machine := st.query_params.get("machine")) and not st.session_state.get(_CARD):
        st.session_state[_CARD] = True
        story.use_library_machine(machine)
    answers = questions.ask()
    if answers is None:
        return
    if "yes" in answers.values():
        with st.expander("A clip that exists already can still be heard"):
            chosen = clips.choose(answers)
    else:
        chosen = clips.choose(answers)
    if chosen:
        result.show_all(chosen, answers)


main()
