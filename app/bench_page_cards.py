"""Fill the page's HTML templates; every value is escaped by the template engine."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from listen.bench import first_minute_questions
from listen.report import words

_TEMPLATES = Path(__file__).parent / "bench_page_templates"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    environment.globals["questions_answered_yes"] = _answered_yes
    return environment


def _answered_yes(answers: Mapping[str, str]) -> list[str]:
    return [question.text for question in first_minute_questions() if answers.get(question.id) == "yes"]


def render(template: str, **values: Any) -> str:
    """Return the HTML of a card, for example ``render("verdict", report=to_dict(report))``."""
    return _environment().get_template(f"{template}.html.j2").render(words=words, **values)


def show(template: str, **values: Any) -> None:
    """Put a card on the page; a card with nothing in it is left out."""
    html = render(template, **values)
    if html.strip():
        st.html(html)


def show_with_button(
    text: str, label: str, key: str, on_click: Callable[..., None], args: tuple[Any, ...] = ()
) -> None:
    """Put a settled line on the page with a button beside it, on a phone too."""
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.html(render("done", text=text), width="stretch")
        st.button(label, key=key, on_click=on_click, args=args)
