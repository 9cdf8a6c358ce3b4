"""An address as a QR code, for a terminal and for a page."""

from __future__ import annotations

import io

import segno


def terminal_code(text: str) -> str:
    """Return a QR code as lines of text, dark on light whatever the terminal's colours."""
    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue().rstrip("\n")


def svg_code(text: str) -> str:
    """Return a QR code as an SVG image with its quiet zone, black on white."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, scale=5, border=4, light="#ffffff", title="QR code"
    )
    return out.getvalue().decode("utf-8")
