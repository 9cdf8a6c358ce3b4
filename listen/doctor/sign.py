"""What one look found."""

from __future__ import annotations

from dataclasses import dataclass

#: `fine`; `note`: works, but worth knowing; `wrong`: something will fail, and the sentence says what to do.
STANDINGS: tuple[str, ...] = ("fine", "note", "wrong")


@dataclass(frozen=True, slots=True)
class Sign:
    """One sentence about one part.

    Attributes
    ----------
    part : str
        `install`, `model`, `knowledge`, `formats`, `library`, `vault`, `disk`, `certificate` or `clock`.
    standing : {"fine", "note", "wrong"}
    sentence : str
        What is the case and, where it is not fine, what to do.
    """

    part: str
    standing: str
    sentence: str
