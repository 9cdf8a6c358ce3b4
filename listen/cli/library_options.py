"""Options that the verbs of the library share, and how they print a clip."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from listen.cli.group import debug_option
from listen.errors import BadParameter

if TYPE_CHECKING:
    from listen.library import Library
    from listen.library.records import ClipRecord


def place_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--at` and `--vault`: which library."""
    for option in (
        click.option(
            "--vault",
            metavar="PLACE",
            help="Folder or fsspec URL of the recordings, where the database is elsewhere.",
        ),
        click.option(
            "--at", metavar="PLACE", help="The library: a folder, or postgresql://USER@HOST/DATABASE."
        ),
    ):
        command = option(command)
    return debug_option(command)  # type: ignore[no-any-return]


def by_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--by`: who says so."""
    return click.option(
        "--by", envvar="LISTEN_BY", required=True, metavar="NAME", help="Who says so; or set LISTEN_BY once."
    )(command)


def opened(at: str | None, vault: str | None, *, create: bool = False) -> Library:
    """Open the library that the options name."""
    from listen.library import open_library

    return open_library(at, vault=vault, create=create)


def line_of(clip: ClipRecord) -> str:
    """Write a clip on one line."""
    marks = "".join(
        sign for sign, on in (("g", clip.good_at), ("l", clip.complete_at), ("t", clip.fold == "test")) if on
    )
    when = (clip.recorded_at or clip.added_at)[:10]
    return f"{clip.sha256[:12]}  {when}  {clip.duration_s:7.1f} s  {clip.machine or '-':<20}  {marks:<3}  {clip.name}"


def seconds(text: str) -> float:
    """Read a moment as seconds or M:SS."""
    minutes, _, rest = text.rpartition(":")
    try:
        return 60 * int(minutes or 0) + float(rest)
    except ValueError as error:
        raise BadParameter(
            f"{text[:20]!r} is no moment: write seconds, or minutes and seconds as 1:04.5."
        ) from error
