"""The page: first the danger, then the clip, then what was heard and what to check.

Run by `listen page`. Thin on purpose: every word and number comes from the package.
"""

from __future__ import annotations

import bench_page_cards as cards
import bench_page_clips as clips
import bench_page_questions as questions
import bench_page_result as result
import bench_page_story as story
import bench_page_style as style
import streamlit as st


def main() -> None:
    """Lay out one run of the page."""
    st.set_page_config(page_title="Listen", page_icon=style.icon(), layout="centered")
    style.apply()
    if result.MARKED in st.session_state:
        story.mark_moment(st.session_state.pop(result.MARKED))
    cards.show("top")
    answers = questions.ask()
    if answers is None:
        cards.show("cautions")
        return
    if "yes" in answers.values():
        with st.expander("A clip that exists already can still be heard"):
            chosen = clips.choose(answers)
    else:
        chosen = clips.choose(answers)
    if chosen:
        result.show_all(chosen, answers)
    cards.show("cautions")


main()
