"""The sheet as one self-contained page: nothing is fetched, no script runs."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from listen.learn.score import plots
from listen.learn.score.table import by_score, figure, mains_text, unfamiliar_text, verdict_rows


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


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
            sheet=sheet, plots=plots, by_score=by_score, figure=figure, verdict_rows=verdict_rows, unfamiliar_text=unfamiliar_text, mains_text=mains_text
        )
    )  # fmt: skip
