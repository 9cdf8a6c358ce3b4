"""The shop's sound library: recordings, what people say of them, and what can be learnt from them.

>>> from listen.library import open_library
>>> with open_library() as library:  # doctest: +SKIP
...     machine = library.machines.add("front bar", profile="generic-vibratory")
...     clip = library.add_clip("clip.m4a", machine=machine.id, story=[(1.2, "brew_on")], by="Kim")
...     library.labels.add(clip.sha256, "hiss", 4.0, 9.5, by="Kim")

Names are loaded on first use. Nothing on the path of `listen.hear` imports this
package: the database library costs a quarter of a second.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from listen.library.library import Library, open_library

_WHERE = {"open_library": "library", "Library": "library"}

__all__ = ["Library", "open_library"]


def __getattr__(name: str) -> Any:
    """Import the module that holds a public name when the name is first asked for."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
    globals()[name] = value
    return value
