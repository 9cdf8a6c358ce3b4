"""The first minute: questions of danger come before any clip, and a yes is answered at once."""

from __future__ import annotations

import bench_page_cards as cards
import bench_page_hearing as hearing
import bench_page_ladder as ladder
import streamlit as st

from listen.bench import first_minute_questions
from listen.report.to_dict import to_dict

_ANSWERED = "bench_page_none_of_these"


def ask() -> dict[str, str] | None:
    """Ask the questions and show what to do on a yes.

    Returns
    -------
    dict or None
        Question id → "yes", "no" or "unknown"; None while nothing was answered.
    """
    questions = first_minute_questions()
    if st.session_state.get(_ANSWERED):
        return _answered([question.id for question in questions])
    urgent = st.container()
    cards.show("step", title="First: is any of this happening?", note="Tap what is true.")
    yes = []
    with st.container(border=True):
        for question in questions:
            if st.checkbox(question.text, key=f"bench_page_danger_{question.id}"):
                yes.append(question.id)
    if yes:
        answers = {question.id: "yes" if question.id in yes else "unknown" for question in questions}
        with urgent:
            show_stop(answers)
        return answers
    st.button("None of these", type="primary", width="stretch", on_click=_none_of_these)
    return None


def show_stop(answers: dict[str, str]) -> None:
    """Show the stop words and the checks that go with them."""
    told = hearing.Told(hearing.nothing_told().machine, answers=tuple(sorted(answers.items())))
    report = ladder.after_answers(hearing.judge_without_clip(told), ladder.key_of(None), told.machine)
    cards.show("stop", report=to_dict(report))
    ladder.next_step(report, ladder.key_of(None), title="From a distance, next")
    cards.show("findings", findings=to_dict(report)["findings"], title="What to check next")


def _none_of_these() -> None:
    st.session_state[_ANSWERED] = True


def _ask_again() -> None:
    st.session_state[_ANSWERED] = False


def _answered(ids: list[str]) -> dict[str, str]:
    cards.show_with_button(
        f"None of the {len(ids)} dangers reported", "Change", "bench_page_ask_again", _ask_again
    )
    return dict.fromkeys(ids, "no")
