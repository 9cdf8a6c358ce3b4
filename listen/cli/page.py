"""`listen page`: the page, served to this machine, or to the phones of the shop with `--lan`."""

from __future__ import annotations

import contextlib
import signal
import subprocess
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
@click.option("--lan", is_flag=True, help="Serve phones on the shop's network, by HTTPS and behind a PIN.")
@click.option("--new-pin", metavar="PIN", help="With --lan: take this PIN of six digits from now on.")
@debug_option
def page(port: int | None, lan: bool, new_pin: str | None) -> int:
    """Open the page in the browser. Without --lan it is served to this machine only."""
    if new_pin is not None and not lan:
        raise click.UsageError("--new-pin goes with --lan")
    serve(port, lan=lan, new_pin=new_pin)
    return OK


def serve(
    port: int | None,
    environment: dict[str, str] | None = None,
    *,
    lan: bool = False,
    new_pin: str | None = None,
) -> None:
    """Serve the page until the person ends it with Ctrl-C.

    Raises
    ------
    RuntimeError
        When the server does not come up.
    """
    pin, network = _network(new_pin) if lan else ("", None)
    chosen = server.choose_port(port, "0.0.0.0" if lan else server.HOST)
    # A polite end from outside must end the child as well, as Ctrl-C does.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    process = server.start(chosen, environment, network)
    end = _PoliteEnd(process)
    signal.signal(signal.SIGTERM, end)
    try:
        if not server.wait_until_up(process, chosen, lan=network):
            raise RuntimeError("the page's server did not start")
        url = f"{'https' if network else 'http'}://{network.hosts[0] if network else server.HOST}:{chosen}"
        _remember(url)
        if network:
            _say_network(url, pin, network)
        click.echo(f"The page is at {url}. End it with Ctrl-C.")
        if sys.stdout.isatty() and not network:
            with contextlib.suppress(webbrowser.Error):
                webbrowser.open(url)
        if process.wait() != 0:
            raise RuntimeError("the page's server ended unexpectedly")
    except KeyboardInterrupt:
        click.echo("The page has ended.")
    except RuntimeError:
        if not end.asked:
            raise
        click.echo("The page has ended.")
    finally:
        server.stop(process)


class _PoliteEnd:
    """End the child at once when asked from outside, and interrupt what waits for it.

    The interrupt alone can be lost: Python drops what is raised while an object is torn down,
    and then nobody would end the child.
    """

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.asked = False
        self._process = process

    def __call__(self, number: int, frame: object) -> None:
        self.asked = True
        self._process.terminate()
        raise KeyboardInterrupt


def _network(new_pin: str | None) -> tuple[str, server.Lan]:
    """Make ready what the network needs: PIN, certificates, the names under which the page answers."""
    from listen.lan.addresses import local_name, own_addresses
    from listen.lan.authority import prepare
    from listen.lan.pin import load_pin
    from listen.library.place import find_place

    folder = find_place().home / "lan"
    hosts = (*own_addresses(), local_name())
    return load_pin(folder, new=new_pin), server.Lan(hosts, folder, prepare(folder, (*hosts, "localhost")))


def _say_network(url: str, pin: str, network: server.Lan) -> None:
    from listen.lan.authority import fingerprint
    from listen.lan.qr import terminal_code

    if network.hosts[0].startswith("127."):
        click.echo(
            "This computer has no address on a private network: no phone will find it. Join the shop's network, then start again."
        )
    click.echo(terminal_code(url))
    click.echo(f"PIN: {pin}")
    click.echo(f"Once on each phone of the shop, so that it may record: {url}/trust")
    click.echo(f"Fingerprint of the shop's certificate: {fingerprint(network.served.authority)}")


def _remember(url: str) -> None:
    """Remember the address for links to customers; a library that cannot be written is no reason to fail here."""
    from listen.lan.addresses import remember
    from listen.library.place import find_place

    with contextlib.suppress(OSError):
        remember(find_place().home, url)
