"""`listen library add`, `import` and `machine`: recordings and machines come in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from listen.cli.group import OK, USAGE, say
from listen.cli.library_options import by_option, line_of, opened, place_options
from listen.errors import BadParameter, LibraryError, UnreadableClip, UnusableClip

if TYPE_CHECKING:
    from listen.library import Library
    from listen.library.records import ClipRecord

_CONSENTS = click.Choice(["shop", "learn", "share"])


@click.command()
@click.argument("clips", metavar="CLIP...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--machine", metavar="NAME", help="Short name of the machine; without it: no machine is heard.")
@click.option(
    "--did", metavar="'M:SS WORD'", multiple=True, help="What was done, or which state began, when."
)
@click.option("--gauge", metavar="NAME=BAR", multiple=True, help="A gauge as read, for example boiler=1.1.")
@click.option("--said", metavar="TEXT", default="", help="What the customer says.")
@click.option("--phone", metavar="TEXT", help="Which phone recorded it.")
@click.option("--place", metavar="TEXT", help="Where the phone lay.")
@click.option("--recorded", metavar="DATE", help="When it was recorded.")
@click.option("--ticket", metavar="TEXT", default="", help="Number of the job.")
@click.option("--before", metavar="CLIP", help="The recording from before the repair.")
@click.option(
    "--consent", type=_CONSENTS, default="shop", show_default=True, help="What the owner agreed to."
)
@click.option("--keep-until", metavar="DATE", help="Day after which it is to be deleted.")
@click.option(
    "--again", is_flag=True, help="Take in a recording that was deleted on request: only with new consent."
)
@by_option
@place_options
def add(
    clips: tuple[Path, ...], machine: str | None, did: tuple[str, ...], gauge: tuple[str, ...], said: str, phone: str | None,
    place: str | None, recorded: str | None, ticket: str, before: str | None, consent: str, keep_until: str | None, again: bool,
    by: str, at: str | None, vault: str | None,
) -> int:  # fmt: skip
    """Take recordings in, hear them, and keep what the tool says beside them.

    The original bytes are kept as they are: they may hold the place where they
    were recorded. That place never leaves the library.
    """
    from listen.bench.inputs import parse_did, parse_gauge

    code = OK
    with opened(at, vault, create=True) as library:
        for path in clips:
            try:
                record = library.add_clip(
                    path, machine=machine, story=[parse_did(text) for text in did], gauges=dict(parse_gauge(g) for g in gauge),
                    said=said, capture={k: v for k, v in (("phone", phone), ("place", place)) if v}, recorded_at=recorded, by=by,
                    consent=consent, keep_until=keep_until, ticket=ticket, before_clip=before, again=again,
                )  # fmt: skip
            except (UnreadableClip, UnusableClip, LibraryError, BadParameter) as error:
                say(str(error) if path.name in str(error) else f"{path.name}: {error}")
                code = USAGE
                continue
            if record.was_known:
                click.echo(f"{line_of(record)}  (was there already; sent twice?)")
                continue
            hear_and_keep(library, record)
            click.echo(line_of(record))
            for twin in library.twins(record.sha256):
                click.echo(f"  holds the same sound as {twin.clip.sha256[:12]} ({twin.clip.name})")
    return code


def hear_and_keep(library: Library, record: ClipRecord) -> None:
    """Hear a clip of the library with all that is told of it, by the model in use, and keep the opinion."""
    from listen.pipeline import hear

    folder = library.models.current_folder()
    report = hear(
        library.original(record.sha256), name=record.name,
        machine=library.machines.profile(record.machine) if record.machine else None, marks=record.story,
        gauges=record.gauges, said=record.said, answers=dict(record.answers),
        model_folder=str(folder) if folder is not None else None,
    )  # fmt: skip
    library.add_opinion(record.sha256, report)


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False, exists=True))
@click.option(
    "--table", type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="Table of the recordings; without it clips.csv in the folder. labels.csv beside it holds labelled spans.",
)  # fmt: skip
@by_option
@place_options
def import_(folder: Path, table: Path | None, by: str, at: str | None, vault: str | None) -> int:
    """Take in a folder of recordings that a table describes.

    clips.csv has the column `file`, and any of machine, recorded_at, phone,
    place, story ('0:04 brew_on; 0:31 brew_off'), gauges ('boiler=1.1'), said,
    consent, consent_by, keep_until, ticket, good, complete. labels.csv has file,
    sound, onset_s, offset_s, and any of present, author, note.
    """
    from listen.library.folder import import_folder

    with opened(at, vault, create=True) as library:
        done = import_folder(
            library, folder, table=table, by=by, after_each=lambda record: hear_and_keep(library, record)
        )
    click.echo(
        f"{len(done.added)} recordings added, {len(done.known)} were there already, {done.n_labels} labels."
    )
    for sentence in done.refused:
        say(sentence)
    return USAGE if done.refused else OK


@click.command()
@click.argument("name")
@click.option(
    "--profile",
    metavar="FILE.toml|NAME",
    help="What kind of machine: a profile, or the name of a shipped one.",
)
@click.option("--id", "id_", metavar="SHORT-NAME", help="Short name for links and job cards.")
@click.option("--place", metavar="TEXT", help="Where it stands; never passed on.")
@click.option("--note", metavar="TEXT", help="Anything worth knowing.")
@click.option("--change", is_flag=True, help="Change the machine with the short name NAME.")
@by_option
@place_options
def machine(
    name: str, profile: str | None, id_: str | None, place: str | None, note: str | None, change: bool, by: str, at: str | None,
    vault: str | None,
) -> int:  # fmt: skip
    """Add a machine under the NAME that the shop calls it by, or change what is known of it."""
    from listen.bench.machine import load_machine

    loaded = load_machine(profile) if profile else None
    with opened(at, vault, create=not change) as library:
        if change:
            record = library.machines.change(name, profile=loaded, place=place, note=note)
        else:
            record = library.machines.add(
                name, profile=loaded, id=id_, place=place or "", note=note or "", by=by
            )
    kept = "  (its recordings are kept for tests)" if record.fold == "test" else ""
    click.echo(f"{record.id}  {record.name}{kept}")
    return OK
