"""The next check with its answer buttons; an answer ranks causes and checks anew at once."""

from __future__ import annotations

from typing import Any

import bench_page_cards as cards
import bench_page_hearing as hearing
import streamlit as st

from listen.bench import answer, next_check
from listen.bench.machine import Machine
from listen.types import Report

_ANSWERS = "bench_page_check_answers"
_BUTTONS = (("yes", "Yes"), ("no", "No"), ("unknown", "Cannot say"))


def answers_to(key: str) -> dict[str, str]:
    """Return the answers given so far to the checks of a clip (or of a stop without a clip)."""
    given: dict[str, dict[str, str]] = st.session_state.setdefault(_ANSWERS, {})
    return given.setdefault(key, {})


def after_answers(report: Report, key: str, machine: Machine) -> Report:
    """Return the report as the answers leave it; without answers as it is."""
    given = answers_to(key)
    return answer(report, given, machine=machine) if given else report


def next_step(report: Report, key: str, title: str = "Next check") -> None:
    """Draw the one check to do now with its buttons, and what was answered before it."""
    answered = {one.id: one for finding in report.findings for one in finding.answered}
    if answered:
        with st.expander(f"Answered so far: {len(answered)}"):
            for one in answered.values():
                cards.show("answered", one=one, said=dict(_BUTTONS)[one.answer])
                st.button(
                    "Undo", key=f"bench_page_undo_{key[:12]}_{one.id}", on_click=_undo, args=(key, one.id)
                )
    check = next_check(report)
    if check is None:
        return
    with st.container(border=True, key=f"bench_page_next_{key[:12]}"):
        cards.show("next_check", check=_as_dict(check), title=title)
        if check.id:
            with st.container(horizontal=True):
                for value, label in _BUTTONS:
                    st.button(
                        label,
                        key=f"bench_page_answer_{key[:12]}_{check.id}_{value}",
                        on_click=_give,
                        args=(key, check.id, value),
                        width="stretch" if value != "unknown" else "content",
                    )


def _as_dict(check: Any) -> dict[str, Any]:
    names = ("text", "needs", "who", "cautions", "if_yes", "if_no", "id")
    return {name: getattr(check, name) for name in names}


def _give(key: str, check_id: str, value: str) -> None:
    answers_to(key)[check_id] = value


def _undo(key: str, check_id: str) -> None:
    answers_to(key).pop(check_id, None)


def forget() -> None:
    """Forget every answer to a check: another job."""
    st.session_state.pop(_ANSWERS, None)


def key_of(clip: hearing.Clip | None) -> str:
    """Return the key under which answers about a clip are kept."""
    return clip.sha256 if clip else "no clip"
