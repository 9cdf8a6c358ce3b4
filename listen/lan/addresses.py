"""Under which names and addresses phones find this computer."""

from __future__ import annotations

import contextlib
import ipaddress
import re
import socket
from pathlib import Path
from urllib.parse import urlsplit

from listen.errors import BadParameter

_REMEMBERED = "served-at"
#: Addresses of no host, only to learn which way packets would leave; nothing is sent.
_PROBES = ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET, "10.255.255.255"))
#: What may be certified and served: private, link-local and loopback addresses.
PRIVATE_NETWORKS = tuple(
    ipaddress.ip_network(text)
    for text in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8")
)


def is_private(address: str) -> bool:
    """Tell whether an IPv4 address belongs to a private network.

    >>> is_private("192.168.1.20"), is_private("198.51.100.7")
    (True, False)
    """
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(ip in network for network in PRIVATE_NETWORKS if network.version == ip.version)


def own_addresses() -> tuple[str, ...]:
    """Return this computer's private IPv4 addresses, the one towards the network first, loopback last."""
    found: list[str] = []
    for family, target in _PROBES:
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((target, 9))
                found.append(probe.getsockname()[0])
            except OSError:
                continue
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    kept = [
        address for address in dict.fromkeys(found) if is_private(address) and not address.startswith("127.")
    ]
    return (*kept, "127.0.0.1")


def local_name() -> str:
    """Return the name under which this computer is found by multicast name service: `NAME.local`."""
    first = socket.gethostname().split(".")[0].lower()
    plain = re.sub(r"[^a-z0-9-]+", "-", first).strip("-")[:63]
    return f"{plain or 'listen'}.local"


def remember(home: Path, address: str) -> None:
    """Remember under which address the page is served, for links made from the command line."""
    home.mkdir(parents=True, exist_ok=True, mode=0o700)
    (home / _REMEMBERED).write_text(address + "\n", encoding="utf-8")


def served_address(home: Path, given: str | None = None) -> str:
    """Return the address that a customer's link begins with.

    Raises
    ------
    BadParameter
        When none is given and none is remembered, or the given one is no web address.
    """
    if given is None:
        try:
            return (home / _REMEMBERED).read_text(encoding="utf-8").strip()
        except OSError:
            raise BadParameter(
                "It is not known how customers reach this computer: serve the page once with "
                "`listen page --lan`, or give --address."
            ) from None
    parts = urlsplit(given)
    try:
        port_is_fine = parts.port is None or parts.port > 0
    except ValueError:
        port_is_fine = False
    if (
        parts.scheme not in ("http", "https")
        or not parts.hostname
        or parts.query
        or parts.fragment
        or not port_is_fine
    ):
        raise BadParameter(f"{given!r} is no web address: write it like https://192.168.1.20:8741.")
    return given.rstrip("/")
