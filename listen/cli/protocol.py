"""`listen protocol`: what a shop records in its first hour."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, debug_option
from listen.errors import BadParameter


@click.command()
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write a page to print into this file instead.",
)
@debug_option
def protocol(html: Path | None) -> int:
    """Say what to record from your own machines in a first hour, and what to ask before."""
    from listen.bench.protocol import load_protocol
    from listen.report.protocol import render_html, render_text

    steps = load_protocol()
    if html is None:
        click.echo(render_text(steps), nl=False)
        return OK
    try:
        html.write_text(render_html(steps), encoding="utf-8")
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadParameter(
            f"{html} cannot be written ({reason}): name a file in a folder that you may write to."
        ) from error
    click.echo(f"Written to {html}: open it in a browser to print it.")
    return OK
