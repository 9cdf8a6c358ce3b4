"""Is everything here that the tool needs: each part looked at, one sentence each, with what to do."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from listen.doctor.parts import look
    from listen.doctor.sign import Sign

_WHERE = {"look": "parts", "Sign": "sign"}

__all__ = ["Sign", "look"]


def __getattr__(name: str) -> Any:
    """Import the module that holds a public name when the name is first asked for."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
