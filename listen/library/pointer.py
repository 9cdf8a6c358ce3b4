"""Which model of the shop's own is in use, told by a small file: no database is opened for hearing a clip."""

from __future__ import annotations

import os
from pathlib import Path

from listen.library.place import default_home

POINTER = "current-model"


def shop_model(home: Path | None = None) -> str | None:
    """Return the folder of the shop's own model in use, for `listen.hear(model_folder=…)`.

    Parameters
    ----------
    home : Path, optional
        Folder of the library; the usual one when missing.

    Returns
    -------
    str or None
        None while the shipped model is in use, or where the unpacked one is not there.
    """
    home = home or default_home()
    try:
        name = (home / POINTER).read_text(encoding="utf-8").strip()
    except OSError:
        return None
    folder = home / "models" / name
    whole = name.isalnum() and (folder / "manifest.json").is_file()
    return str(folder) if whole else None


def write_pointer(home: Path, folder: Path | None) -> None:
    """Name a model folder under `home/models`, or none, in one step."""
    home.mkdir(parents=True, exist_ok=True)
    if folder is None:
        (home / POINTER).unlink(missing_ok=True)
        return
    part = home / f".{POINTER}.part"
    with part.open("w", encoding="utf-8") as file:
        file.write(f"{folder.name}\n")
        file.flush()
        os.fsync(file.fileno())
    part.replace(home / POINTER)
