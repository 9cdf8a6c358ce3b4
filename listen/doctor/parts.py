"""Look at every part, in the order in which a fault would show."""

from __future__ import annotations

from listen.doctor import computer, hearing, shop
from listen.doctor.sign import Sign
from listen.library.place import Place, find_place


def look(place: Place | None = None) -> tuple[Sign, ...]:
    """Look at everything.

    Parameters
    ----------
    place : Place, optional
        The library; the usual one when missing.

    Returns
    -------
    tuple of Sign
        One for each part; a library in trouble leaves out its vault.
    """
    place = place or find_place()
    found = shop.library(place)
    return (
        computer.install(),
        hearing.model(place.home),
        hearing.knowledge(),
        hearing.formats(),
        *found.signs,
        computer.disk(place),
        shop.certificate(place),
        computer.clock(place, found.latest),
    )
