"""Find shipped data, both in a wheel and in an editable install.

In a wheel the repository folders `models` and `app` lie inside the package
(`listen/_shipped/...`), so that no top-level name of theirs ends up in
site-packages. In an editable install they are the folders beside `listen`.
"""

from __future__ import annotations

from pathlib import Path

from listen.errors import ListenError

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """Return the folder `models` or `app` as installed.

    Raises
    ------
    ListenError
        When the installation is incomplete.
    """
    for candidate in (_PACKAGE / "_shipped" / folder, _PACKAGE.parent / folder):
        if candidate.is_dir():
            return candidate
    raise ListenError(f"The installation lacks its folder {folder!r}: install the project again.")


def knowledge() -> Path:
    """Return the folder with the knowledge tables (TOML)."""
    return _PACKAGE / "knowledge"
