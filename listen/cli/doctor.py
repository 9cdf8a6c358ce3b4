"""`listen doctor`: is everything here that the tool needs."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from listen.cli.group import OK, OURS, debug_option
from listen.report.plain import plain_text

_MARK = {"fine": "ok", "note": "note", "wrong": "WRONG"}


@click.command(epilog="Exit code: 0 nothing is wrong, 1 something is, 2 wrong usage.")
@click.option("--at", metavar="PLACE", help="The library: a folder, or postgresql://USER@HOST/DATABASE.")
@click.option("--vault", metavar="PLACE", help="Vault of a library whose database is elsewhere.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@debug_option
def doctor(at: str | None, vault: str | None, as_json: bool) -> int:
    """Check the installation, model, formats, library, vault, disk, certificate and clock.

    Says in one sentence each what is the case and what to do. Changes nothing.
    """
    from listen.doctor import look
    from listen.library.place import find_place

    signs = look(find_place(at, vault))
    wrong = any(sign.standing == "wrong" for sign in signs)
    if as_json:
        click.echo(json.dumps({"fine": not wrong, "parts": [asdict(sign) for sign in signs]}))
    else:
        for sign in signs:
            click.echo(f"{_MARK[sign.standing]:<6}{sign.part:<12}{plain_text(sign.sentence)}")
    return OURS if wrong else OK
