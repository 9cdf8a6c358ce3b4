"""Report → one self-contained HTML page (no script, nothing fetched) that prints well."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from listen.report import hours, words
from listen.report.to_dict import to_dict
from listen.types import Report

_TEMPLATES = Path(__file__).with_name("templates")


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(report: Report, pictures: Sequence[tuple[str, bytes]] = ()) -> str:
    """Write one report as an HTML document.

    All text is escaped by the template engine: names and quoted words from
    outside cannot become markup.

    Parameters
    ----------
    report : Report
    pictures : sequence of (words, JPEG)
        Pictures that were taken beside the clip; they become part of the document.
    """
    template = _environment().get_template("report.html.j2")
    shown = [(text, base64.b64encode(jpeg).decode("ascii")) for text, jpeg in pictures]
    data = to_dict(report)
    return template.render(report=data, words=words, by_hours=Markup(hours.section(data)), pictures=shown)
