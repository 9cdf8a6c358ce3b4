"""`listen demo`: three synthesised clips of an invented machine, heard on the spot."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

import click

from listen.cli.group import OK, debug_option


@click.command()
@click.option("--no-page", is_flag=True, help="Only print the verdicts; do not open the page.")
@debug_option
def demo(no_page: bool) -> int:
    """Hear three synthesised clips of a demo machine, then open the page."""
    from listen.cli.demo_clips import make_demo
    from listen.pipeline import hear
    from listen.report.terminal import cautions, render_short, wants_colour

    colour = wants_colour(sys.stdout, os.environ)
    click.echo("Three clips of an invented machine, synthesised just now: no real machine is heard here.\n")
    with tempfile.TemporaryDirectory(prefix="listen-demo-") as folder:
        for clip in make_demo(Path(folder)):
            click.echo(clip.title)
            report = hear(clip.path, machine=clip.machine, marks=clip.marks, gauges=dict(clip.gauges))
            click.echo(render_short(report, colour=colour), color=colour)
    click.echo(cautions(), nl=False)
    if not no_page:
        from listen.cli.page import serve

        click.echo()
        serve(None)
    return OK
