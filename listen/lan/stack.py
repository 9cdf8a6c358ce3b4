"""The guards in the order in which a request meets them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from starlette.middleware import Middleware

from listen.lan.guard import HostGuard, PinGuard
from listen.lan.pin import Passes, load_pin


def guards(*, hosts: Iterable[str], lan: str | None) -> list[Middleware]:
    """Return the middleware of the page: known hosts always, the PIN where it is on the network.

    Parameters
    ----------
    hosts : iterable of str
    lan : str or None
        Private folder with PIN and certificates; None serves this machine alone.
    """
    found = [Middleware(HostGuard, hosts=tuple(hosts))]
    if lan is not None:
        folder = Path(lan)
        passes = Passes(folder, load_pin(folder))
        found.append(Middleware(PinGuard, passes=passes, authority=folder / "authority.pem"))
    return found
