"""`listen intake`: links for customers, and what they sent."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, debug_option


@click.group()
def intake() -> None:
    """Make links for customers and look at what they sent."""


@intake.command()
@click.option("--machine", help="Short name of a machine in the library; without it, any machine.")
@click.option("--days", type=int, default=7, show_default=True, help="How long the link holds.")
@click.option("--note", default="", help="For you alone, for example the job's number.")
@click.option(
    "--address",
    help="How customers reach this computer, for example https://192.168.1.20:8741; without it, the address "
    "under which the page is or was last served.",
)
@click.option("--no-qr", is_flag=True, help="Print the link alone.")
@debug_option
def link(machine: str | None, days: int, note: str, address: str | None, no_qr: bool) -> int:
    """Make a link for one customer: it takes one message and then ends."""
    from listen.intake.links import Links
    from listen.lan.addresses import served_address
    from listen.lan.qr import terminal_code
    from listen.library import open_library

    with open_library() as library:
        if machine is not None:
            machine = library.machines.get(machine).id
        base = served_address(library.place.home, address)
        token, made = Links(library.place.home).make(machine=machine, days=days, note=note)
    url = f"{base}/u/{token}"
    click.echo(url)
    if not no_qr:
        click.echo(terminal_code(url))
    click.echo(
        f"For one message, until {made.expires_at[:16].replace('T', ' ')} UTC. Withdraw it: listen intake end {made.hash[:8]}"
    )
    return OK


@intake.command()
@debug_option
def links() -> int:
    """List the links that were made."""
    from listen.intake.links import Links
    from listen.library import open_library

    with open_library() as library:
        found = Links(library.place.home)
        for one in found.all():
            receipt = found.receipt(one, "message")
            state = f"used, {receipt}" if receipt else "over" if one.expired() else "open"
            parts = [
                one.hash[:8],
                state,
                f"until {one.expires_at[:16].replace('T', ' ')} UTC",
                one.machine or "",
                one.note,
            ]
            click.echo("  ".join(part for part in parts if part))
    return OK


@intake.command()
@click.argument("which")
@debug_option
def end(which: str) -> int:
    """End a link now; WHICH is the beginning of what `listen intake links` shows for it."""
    from listen.errors import BadParameter
    from listen.intake.links import Links
    from listen.library import open_library

    with open_library() as library:
        if not Links(library.place.home).withdraw(which):
            raise BadParameter(
                f"No single link begins with {which!r}: see `listen intake links`, at least 6 signs."
            )
    click.echo("That link has ended.")
    return OK


@intake.command()
@click.option("--search", default="", help="Words that must all be in it.")
@click.option("--status", type=click.Choice(["new", "heard", "waiting", "answered"]))
@debug_option
def queue(search: str, status: str | None) -> int:
    """List messages, stops first."""
    from listen.library import open_library

    with open_library() as library:
        for record in library.intake.queue(status=status, search=search):
            files = f"{len(record.files)} files" if record.files else "no files"
            parts = [
                record.receipt,
                record.level or "-",
                record.status,
                record.machine or "",
                record.sender,
                files,
            ]
            click.echo("  ".join(part for part in parts if part))
    return OK


@intake.command()
@click.argument("receipt")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Also write its files here.")
@debug_option
def show(receipt: str, out: Path | None) -> int:
    """Show one message by its receipt number, and write its files where asked."""
    from listen.library import open_library

    with open_library() as library:
        record = library.intake.get(receipt)
        click.echo(
            f"{record.receipt}  {record.status}  {record.level or 'no level yet'}  {record.created_at}"
        )
        for text in (
            record.sender,
            record.contact,
            record.said,
            record.draft and f"Draft: {record.draft}",
            record.answer and f"Answer: {record.answer}",
        ):
            if text:
                click.echo(text)
        for number, file in enumerate(record.files, start=1):
            click.echo(f"  {number}. {file.name}  {file.kind}  {file.size_bytes} bytes  {file.refused}")
            if out is not None:
                out.mkdir(parents=True, exist_ok=True)
                # A stranger's name never becomes a path.
                (out / f"{record.receipt}-{number}").write_bytes(library.intake.read_file(file))
    return OK
