"""Make text from outside (file names, quoted words) harmless to print and to store."""

from __future__ import annotations

import unicodedata

#: Control, format (bidirectional overrides, zero width), surrogate and private-use characters.
_UNWANTED = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def plain_text(text: str, *, longest: int | None = None) -> str:
    """Return `text` on one line, without control characters, cut to `longest` characters.

    Line breaks and tabs become one space; escape sequences lose their escape
    character, so that a file name cannot colour or move the terminal.

    >>> plain_text("shot\\x1b[31m\\n1.m4a")
    'shot[31m 1.m4a'
    """
    spaced = "".join(" " if c in "\t\n\r\v\f\x85\u2028\u2029" else c for c in text)
    kept = "".join(c for c in spaced if unicodedata.category(c) not in _UNWANTED)
    kept = " ".join(kept.split(" ")).strip()
    if longest is not None and len(kept) > longest:
        kept = kept[: longest - 1].rstrip() + "…"
    return kept
