"""`listen page`: the page, served to this machine only."""

from __future__ import annotations

import contextlib
import signal
import sys
import webbrowser

import click

from listen.cli import server
from listen.cli.group import OK, debug_option


@click.command()
@click.option(
    "--port",
    type=click.IntRange(1024, 65535),
    help=f"Port; without it {server.DEFAULT_PORT} or the next free.",
)
@debug_option
def page(port: int | None) -> int:
    """Open the page in the browser; it is served to this machine only."""
    serve(port)
    return OK


def serve(port: int | None, environment: dict[str, str] | None = None) -> None:
    """Serve the page until the person ends it with Ctrl-C.

    Raises
    ------
    RuntimeError
        When the server does not come up.
    """
    chosen = server.choose_port(port)
    # A polite end from outside must end the child as well, as Ctrl-C does.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    process = server.start(chosen, environment)
    try:
        if not server.wait_until_up(process, chosen):
            raise RuntimeError("the page's server did not start")
        url = f"http://{server.HOST}:{chosen}"
        click.echo(f"The page is at {url}. End it with Ctrl-C.")
        if sys.stdout.isatty():
            with contextlib.suppress(webbrowser.Error):
                webbrowser.open(url)
        if process.wait() != 0:
            raise RuntimeError("the page's server ended unexpectedly")
    except KeyboardInterrupt:
        click.echo("The page has ended.")
    finally:
        server.stop(process)
