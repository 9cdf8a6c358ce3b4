"""The page's own look: colours, shapes and sizes, light and dark; nothing is fetched from outside."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import streamlit as st
from PIL import Image, ImageDraw

_HERE = Path(__file__).parent


@cache
def icon() -> Image.Image:
    """Draw the page's mark: three bars of sound in a round cup seen from above."""
    image = Image.new("RGBA", (128, 128), (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    draw.ellipse((6, 6, 122, 122), fill="#0b6b63")
    for x, half in ((40, 16), (64, 34), (88, 22)):
        draw.rounded_rectangle((x - 7, 64 - half, x + 7, 64 + half), radius=7, fill="#fbfaf7")
    return image


@cache
def _css() -> str:
    return (_HERE / "bench_page_style.css").read_text(encoding="utf-8")


def apply() -> None:
    """Put the page's style in place; called once at the top of every run."""
    st.html(f"<style>{_css()}</style>")
