"""The sheet as one self-contained page: nothing is fetched, no script runs."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from listen.learn.score import plots
from listen.learn.score.table import (
    by_score,
    counts_text,
    figure,
    mains_text,
    unfamiliar_text,
    value_text,
    verdict_rows,
)

TITLES = {
    "scenes": "Pinned scenes",
    "second": "Second generator",
    "phones": "Through a browser's microphone path and codecs",
    "real": "Real recordings without a machine",
    "mixed": "Faults over real recordings",
    "stand_ins": "Real stand-ins",
}


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def set_title(name: str) -> str:
    """Return the heading of a set."""
    return TITLES.get(name, name)


def render_page(sheet: Mapping[str, Any]) -> str:
    """Write the sheet as an HTML document.

    Parameters
    ----------
    sheet : mapping
        As :func:`listen.learn.score.sheet.as_sheet` makes it. Links to clips are relative.
    """
    return (
        _environment()
        .get_template("scores.html.j2")
        .render(
            sheet=sheet, plots=plots, by_score=by_score, figure=figure, verdict_rows=verdict_rows, unfamiliar_text=unfamiliar_text, mains_text=mains_text,
            value_text=value_text, counts_text=counts_text, title=set_title
        )
    )  # fmt: skip
