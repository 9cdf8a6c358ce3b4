"""The shop's library, opened once for the whole server, when it is first needed."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from listen.library import Library

_lock = threading.Lock()
_open: dict[str, Library] = {}


def library() -> Library:
    """Return the open library.

    Raises
    ------
    LibraryError
        When it cannot be opened.
    """
    from listen.library import open_library
    from listen.library.place import find_place

    where = find_place().shown
    with _lock:
        if where not in _open:
            _open[where] = open_library()
        return _open[where]
