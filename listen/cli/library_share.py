"""`listen library export` and `receive`: the open folder between shops."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, USAGE, say
from listen.cli.library_add import hear_and_keep
from listen.cli.library_options import by_option, opened, place_options


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--clip",
    "chosen",
    multiple=True,
    metavar="CLIP",
    help="Only these; without it all that may be passed on.",
)
@click.option("--keep-speech", is_flag=True, help="Do not silence the spans in which speech was heard.")
@place_options
def export(
    folder: Path, chosen: tuple[str, ...], keep_speech: bool, at: str | None, vault: str | None
) -> int:
    """Write recordings whose owners agreed (consent `share`) into FOLDER: FLAC, CSV, JSON and checksums.

    Original files, places, names, tickets and what was said stay here.
    """
    from listen.library.exchange import export as write

    with opened(at, vault) as library:
        done = write(library, folder, clips=chosen or None, silence_speech=not keep_speech)
    click.echo(
        f"{done.n_clips} recordings, {done.n_labels} labels, {done.n_outcomes} outcomes written to {folder}; "
        f"{done.silenced_s:g} s of speech silenced; {done.n_without_consent} recordings stay, their owners did not agree."
    )
    return OK


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False, exists=True))
@click.option("--from", "source", required=True, metavar="NAME", help="Where it comes from.")
@by_option
@place_options
def receive(folder: Path, source: str, by: str, at: str | None, vault: str | None) -> int:
    """Take in a FOLDER that another shop exported. Checksums come first; its deletions are honoured."""
    from listen.library.exchange_in import take_in

    with opened(at, vault, create=True) as library:
        done = take_in(
            library, folder, source=source, by=by, after_each=lambda record: hear_and_keep(library, record)
        )
    click.echo(
        f"{len(done.added)} recordings taken in, {len(done.known)} were there already, {len(done.deleted)} deleted as asked."
    )
    for sentence in done.refused:
        say(sentence)
    return USAGE if done.refused else OK
