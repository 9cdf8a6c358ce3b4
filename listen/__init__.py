"""Listen to an espresso machine: what was heard, whether it fits, what to check next."""

from __future__ import annotations

from typing import Any

__all__ = ["hear"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    # Imported when asked for: most commands need less than the whole house.
    if name in ("hear", "hear_with_picture"):
        from listen import pipeline

        return getattr(pipeline, name)
    raise AttributeError(name)
