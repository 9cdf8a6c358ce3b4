"""Many clips at once: all cores, or a cluster; resumed after a kill, with a table of results.

>>> from listen.batch import run_batch  # doctest: +SKIP
>>> done = run_batch(read_plan(folder), out)  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from listen.batch.plan import Item, read_plan
    from listen.batch.run import BatchDone, run_batch

_WHERE = {"Item": "plan", "read_plan": "plan", "BatchDone": "run", "run_batch": "run"}

__all__ = ["BatchDone", "Item", "read_plan", "run_batch"]


def __getattr__(name: str) -> Any:
    """Import the module that holds a public name when the name is first asked for."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
