"""`listen library label`, `complete`, `good`, `outcome`, `consent`: what people say of a recording."""

from __future__ import annotations

from dataclasses import replace

import click

from listen.cli.group import OK
from listen.cli.library_options import by_option, opened, place_options, seconds


@click.command()
@click.argument("clip")
@click.argument("sound")
@click.argument("onset")
@click.argument("offset")
@click.option("--absent", is_flag=True, help="The sound is not there, whatever the tool says.")
@click.option("--note", default="", metavar="TEXT")
@by_option
@place_options
def label(
    clip: str,
    sound: str,
    onset: str,
    offset: str,
    absent: bool,
    note: str,
    by: str,
    at: str | None,
    vault: str | None,
) -> int:
    """Say that SOUND is heard in CLIP from ONSET to OFFSET (seconds or M:SS)."""
    with opened(at, vault) as library:
        made = library.labels.add(
            clip, sound, seconds(onset), seconds(offset), by=by, present=not absent, note=note
        )
        click.echo(f"label {made.id}")
        _point_out(library, clip)
    return OK


@click.command()
@click.argument("number", type=int)
@click.option("--sound", metavar="WORD")
@click.option("--onset", metavar="M:SS")
@click.option("--offset", metavar="M:SS")
@by_option
@place_options
def correct(
    number: int,
    sound: str | None,
    onset: str | None,
    offset: str | None,
    by: str,
    at: str | None,
    vault: str | None,
) -> int:
    """Put another label in the place of label NUMBER; the old one stays in the history."""
    with opened(at, vault) as library:
        made = library.labels.correct(
            number,
            by=by,
            sound=sound,
            onset_s=seconds(onset) if onset else None,
            offset_s=seconds(offset) if offset else None,
        )
        click.echo(f"label {made.id} in the place of {number}")
    return OK


@click.command()
@click.argument("number", type=int)
@by_option
@place_options
def withdraw(number: int, by: str, at: str | None, vault: str | None) -> int:
    """Take label NUMBER back; it stays in the history."""
    with opened(at, vault) as library:
        library.labels.withdraw(number, by=by)
    return OK


@click.command()
@click.argument("clip")
@click.option("--not", "undo", is_flag=True, help="Take it back.")
@by_option
@place_options
def complete(clip: str, undo: bool, by: str, at: str | None, vault: str | None) -> int:
    """Say that the labels of CLIP name every sound in it: the ear may then learn from what is not there, too."""
    with opened(at, vault) as library:
        library.mark_complete(clip, by=by, complete=not undo)
    return OK


@click.command()
@click.argument("clip")
@click.option("--not", "undo", is_flag=True, help="Take it back.")
@by_option
@place_options
def good(clip: str, undo: bool, by: str, at: str | None, vault: str | None) -> int:
    """Call CLIP known-good: its machine was found in good order. Later ones are compared with it."""
    with opened(at, vault) as library:
        library.mark_good(clip, by=by, good=not undo)
        _point_out(library, clip)
    return OK


@click.command()
@click.option("--clip", metavar="CLIP")
@click.option("--machine", metavar="NAME")
@click.option("--part", default="", metavar="TEXT", help="The part that was at fault.")
@click.option("--cause", default="", metavar="TEXT", help="Why.")
@click.option("--evidence", default="", metavar="TEXT", help="What shows it: a reading, a part in hand.")
@click.option(
    "--state", type=click.Choice(["resolved", "unresolved", "unknown"]), default="resolved", show_default=True
)
@click.option("--ticket", default="", metavar="TEXT")
@by_option
@place_options
def outcome(
    clip: str | None, machine: str | None, part: str, cause: str, evidence: str, state: str, ticket: str, by: str,
    at: str | None, vault: str | None,
) -> int:  # fmt: skip
    """Record what a repair confirmed, of a recording or of a machine."""
    with opened(at, vault) as library:
        made = library.outcomes.add(
            by=by,
            clip=clip,
            machine=machine,
            part=part,
            cause=cause,
            evidence=evidence,
            state=state,
            ticket=ticket,
        )
        click.echo(f"outcome {made.id}")
    return OK


@click.command()
@click.argument("clip")
@click.argument("consent_to", metavar="shop|learn|share", type=click.Choice(["shop", "learn", "share"]))
@click.option("--given-by", required=True, metavar="NAME", help="Who owns the recording and agrees.")
@click.option("--keep-until", metavar="DATE")
@place_options
def consent(
    clip: str, consent_to: str, given_by: str, keep_until: str | None, at: str | None, vault: str | None
) -> int:
    """Note what the owner of CLIP agreed to: kept for the work on the machine, learnt from, passed on."""
    with opened(at, vault) as library:
        library.change_clip(clip, consent=consent_to, consent_by=given_by, keep_until=keep_until)
    return OK


def _point_out(library: object, clip: str) -> None:
    """Print what now contradicts what."""
    for conflict in library.conflicts(clip):  # type: ignore[attr-defined]
        found = replace(conflict)
        click.echo(f"  conflict: {found.text}")
