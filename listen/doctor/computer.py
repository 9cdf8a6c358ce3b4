"""The computer itself: installed packages, room on the disk, the clock."""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

from listen import __version__
from listen.doctor.sign import Sign
from listen.library.place import Place

NAME = "listen-bench"
#: Below this a night's recording or a backup does not fit, bytes; and below that a clip may not.
_LITTLE, _TOO_LITTLE = 5_000_000_000, 500_000_000
_CLOCKS_APART_S = 120.0


def install() -> Sign:
    """Look whether every package is there in a version that this program was made for."""
    try:
        needed = metadata.requires(NAME) or []
    except metadata.PackageNotFoundError:
        return Sign(
            "install",
            "note",
            "The program runs from its folder without being installed: pip install -e . there.",
        )
    from packaging.requirements import InvalidRequirement, Requirement

    absent, odd, n = [], [], 0
    for text in needed:
        try:
            want = Requirement(text)
        except InvalidRequirement:
            continue
        if want.marker is not None and not want.marker.evaluate({"extra": ""}):
            continue
        n += 1
        try:
            have = metadata.version(want.name)
        except metadata.PackageNotFoundError:
            absent.append(want.name)
            continue
        if not want.specifier.contains(have, prereleases=True):
            odd.append(f"{want.name} {have} (wanted {want.specifier})")
    if absent or odd:
        what = "; ".join(([f"missing: {', '.join(absent)}"] if absent else []) + odd)
        return Sign("install", "wrong", f"The installation is not whole ({what}): run pip install again.")
    return Sign(
        "install", "fine", f"Version {__version__}, Python {sys.version.split()[0]}, {n} packages as wanted."
    )


def disk(place: Place) -> Sign:
    """Look how much room there is for the library and for temporary files."""
    tightest: tuple[int, Path] | None = None
    for folder in (_existing(place.home), Path(tempfile.gettempdir())):
        try:
            free = shutil.disk_usage(folder).free
        except OSError as error:
            return Sign("disk", "wrong", f"{folder} cannot be looked at ({error.strerror}): check the disk.")
        if tightest is None or free < tightest[0]:
            tightest = (free, folder)
    if tightest is None:
        return Sign("disk", "wrong", "No folder of this computer can be looked at: check the disk.")
    free, folder = tightest
    words = f"{free / 1e9:.1f} GB free at {folder}"
    if free < _TOO_LITTLE:
        return Sign(
            "disk", "wrong", f"Only {words}: make room before the next recording, or it cannot be kept."
        )
    if free < _LITTLE:
        return Sign("disk", "note", f"Only {words}: make room soon, or move the library.")
    return Sign("disk", "fine", f"{words}.")


def clock(place: Place, latest: str | None = None) -> Sign:
    """Look whether the clock can be right: not before this program was made, nor before the latest clip.

    Parameters
    ----------
    place : Place
    latest : str, optional
        When the latest clip was added, ISO 8601.
    """
    now = datetime.now(UTC)
    made = datetime.fromtimestamp(Path(__file__).stat().st_mtime, UTC)
    told = f"{now:%Y-%m-%d %H:%M} UTC"
    do = "set the computer's date and time, else recordings and certificates get wrong dates."
    if (made - now).total_seconds() > 86_400:
        return Sign("clock", "wrong", f"The clock says {told}, before this program was installed: {do}")
    if latest is not None:
        last = datetime.fromisoformat(latest)
        last = last if last.tzinfo else last.replace(tzinfo=UTC)
        if (last - now).total_seconds() > _CLOCKS_APART_S:
            return Sign(
                "clock", "wrong", f"The clock says {told}, before the latest clip ({latest[:16]}): {do}"
            )
    apart_s = _disk_clock_apart_s(_existing(place.home))
    if apart_s is not None and abs(apart_s) > _CLOCKS_APART_S:
        return Sign(
            "clock", "note", f"The disk's clock is {apart_s:.0f} s apart from this computer's: set both."
        )
    return Sign("clock", "fine", f"The clock says {told}.")


def _disk_clock_apart_s(folder: Path) -> float | None:
    """How far the clock that stamps files there is ahead, s; None where nothing can be written."""
    try:
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".clock-") as file:
            return Path(file.name).stat().st_mtime - time.time()
    except OSError:
        return None


def _existing(folder: Path) -> Path:
    while not folder.exists() and folder.parent != folder:
        folder = folder.parent
    return folder
