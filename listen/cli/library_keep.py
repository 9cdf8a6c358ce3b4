"""`listen library verify`, `tidy`, `backup`, `restore`, `delete`, `expired`, `measure`: keeping it whole."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, USAGE, say
from listen.cli.library_options import by_option, line_of, opened, place_options


@click.command()
@click.argument("clips", metavar="CLIP...", nargs=-1, required=True)
@click.option(
    "--why",
    default="asked by the owner",
    show_default=True,
    help="Kept with the tombstone; put no name in it.",
)
@by_option
@place_options
def delete(clips: tuple[str, ...], why: str, by: str, at: str | None, vault: str | None) -> int:
    """Delete recordings on request: sound, measurements, labels and opinions. A tombstone stays."""
    with opened(at, vault) as library:
        done = library.delete(*clips, by=by, why=why)
    click.echo(f"{len(done.clips)} recordings deleted, {done.removed_files} files removed.")
    if done.models:
        numbers = ", ".join(map(str, done.models))
        click.echo(
            f"The shop's own model {numbers} learnt from them: train again (`listen train --library`) to leave them out."
        )
    if done.shared:
        click.echo(
            "They may have been passed on: the next export carries the request to whoever receives it."
        )
    click.echo("Backups made before still hold them; restoring one deletes them again.")
    return OK


@click.command()
@click.option("--delete", "remove", is_flag=True, help="Delete them.")
@by_option
@place_options
def expired(remove: bool, by: str, at: str | None, vault: str | None) -> int:
    """Show the recordings whose time to be kept is over."""
    with opened(at, vault) as library:
        over = library.expired()
        for clip in over:
            click.echo(f"{line_of(clip)}  until {clip.keep_until}")
        if remove and over:
            library.delete(*(clip.sha256 for clip in over), by=by, why="time to be kept is over")
            click.echo(f"{len(over)} recordings deleted.")
    return OK


@click.command()
@place_options
def verify(at: str | None, vault: str | None) -> int:
    """Hash every file again and hold tables and vault against each other. Exit code 2 when something is wrong."""
    with opened(at, vault) as library:
        found = library.verify(click.echo)
    for note in found.notes:
        click.echo(note)
    for problem in found.problems:
        say(problem)
    if found.problems:
        return USAGE
    click.echo(f"{found.n_clips} recordings, {found.n_files} files: all there, each with its hash.")
    return OK


@click.command()
@place_options
def tidy(at: str | None, vault: str | None) -> int:
    """Remove what interrupted work left behind, older than an hour and named by nothing."""
    with opened(at, vault) as library:
        click.echo(f"{library.tidy(library.verify())} files removed.")
    return OK


@click.command()
@place_options
def measure(at: str | None, vault: str | None) -> int:
    """Measure recordings again that an older version of the ear measured."""
    with opened(at, vault) as library:
        done, refused = library.measure_again(echo=click.echo)
    click.echo(f"{done} recordings measured again.")
    for sentence in refused:
        say(sentence)
    return USAGE if refused else OK


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@place_options
def backup(file: Path, at: str | None, vault: str | None) -> int:
    """Write the whole library into FILE. Keep it elsewhere; it holds original recordings."""
    with opened(at, vault) as library:
        done = library.backup(file, click.echo)
    click.echo(f"{done.n_clips} recordings, {done.n_files} files, {done.size_bytes / 1e6:.1f} MB in {file}")
    return OK


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--replace", is_flag=True, help="Put aside the library that is there.")
@click.option(
    "--deleted", "ledgers", multiple=True, type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="A ledger of deletions (deleted.csv) to honour as well.",
)  # fmt: skip
@place_options
def restore(file: Path, replace: bool, ledgers: tuple[Path, ...], at: str | None, vault: str | None) -> int:
    """Bring a library back from a backup FILE. What was deleted since stays deleted."""
    from listen.library.place import find_place
    from listen.library.restore import restore as bring_back

    done = bring_back(file, find_place(at, vault), replace=replace, ledgers=ledgers, echo=click.echo)
    click.echo(f"{done.n_clips} recordings restored to {done.place.shown}.")
    if done.deleted:
        click.echo(
            f"{len(done.deleted)} recordings of the backup had been deleted since, and are deleted again."
        )
    if done.kept_aside is not None:
        click.echo(
            f"The library before lies in {done.kept_aside}; remove it when all is well: it may hold what was deleted."
        )
    return OK
