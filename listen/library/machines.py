"""The shop's machines: a short name for links and job cards, what is known of the machine, its fold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.engine import Row

from listen.bench import Machine, load_machine
from listen.bench.machine import machine_from
from listen.errors import LibraryError
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.records import MachineRecord
from listen.library.values import clean, from_json, key_of, now, slug_of, to_json

#: Of every so many machines, one is kept for tests and never learnt from, beginning with the second.
_TEST_EVERY, _TEST_AT = 4, 1


class Machines:
    """The machines of one library."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self, name: str, *, profile: Machine | str | Mapping[str, Any] | None = None, id: str | None = None, place: str = "",
        note: str = "", by: str = "",
    ) -> MachineRecord:  # fmt: skip
        """Add a machine.

        Parameters
        ----------
        name : str
            As the shop calls it.
        profile : Machine, name of a bundled profile, mapping of its fields, or None
        id : str, optional
            Short name for links and job cards; made from `name` when missing.
        place, note : str
            Where it stands; anything worth knowing. Never passed on.
        by : str
            Who adds it.

        Raises
        ------
        LibraryError
            The short name is taken or no short name, or there is no name.
        ProfileError
            The profile is not valid.
        """
        shown = clean(name, longest=80)
        if not shown:
            raise LibraryError("A machine needs a name: say how the shop calls it.")
        fields = to_json(profile_fields(profile))
        wanted = key_of(id) if id is not None else None
        with self._database.writing() as connection:
            taken = set(connection.scalars(select(t.machines.c.id)))
            if wanted in taken:
                raise LibraryError(f"There is a machine {wanted!r} already: choose another short name.")
            key = wanted or _free(slug_of(shown), taken)
            row = {
                "id": key, "name": shown, "profile": fields, "place": clean(place), "note": clean(note), "added_at": now(),
                "added_by": clean(by), "fold": "test" if len(taken) % _TEST_EVERY == _TEST_AT else "train",
            }  # fmt: skip
            connection.execute(insert(t.machines), row)
        return self.get(key)

    def get(self, id: str) -> MachineRecord:
        """Return a machine by its short name.

        Raises
        ------
        LibraryError
            When there is none.
        """
        with self._database.reading() as connection:
            return machine_of(connection, id)

    def profile(self, id: str) -> Machine:
        """Return a machine as the bench wants it."""
        record = self.get(id)
        return machine_from({**_unflatten(record.profile), "name": record.name})

    def all(self) -> tuple[MachineRecord, ...]:
        """Return all machines by name."""
        with self._database.reading() as connection:
            rows = connection.execute(select(t.machines).order_by(t.machines.c.name, t.machines.c.id))
            return tuple(_record(row) for row in rows)

    def change(
        self, id: str, *, name: str | None = None, profile: Machine | str | Mapping[str, Any] | None = None,
        place: str | None = None, note: str | None = None,
    ) -> MachineRecord:  # fmt: skip
        """Change what is said of a machine; what is left out stays."""
        values = {
            key: clean(value)
            for key, value in (("name", name), ("place", place), ("note", note))
            if value is not None
        }
        if "name" in values and not values["name"]:
            raise LibraryError("A machine needs a name: say how the shop calls it.")
        if profile is not None:
            values["profile"] = to_json(profile_fields(profile))
        with self._database.writing() as connection:
            machine_of(connection, id)
            if values:
                connection.execute(update(t.machines).where(t.machines.c.id == id).values(**values))
        return self.get(id)

    def count(self) -> int:
        """Return how many machines there are."""
        with self._database.reading() as connection:
            return int(connection.scalar(select(func.count()).select_from(t.machines)) or 0)


def machine_of(connection: Connection, id: str) -> MachineRecord:
    """Return a machine on an open connection; LibraryError when there is none."""
    row = connection.execute(select(t.machines).where(t.machines.c.id == id)).one_or_none()
    if row is None:
        raise LibraryError(
            f"There is no machine {id[:70]!r} in the library: see `listen library machines`, or add it first."
        )
    return _record(row)


def profile_fields(profile: Machine | str | Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the known fields of a profile, checked; none for None."""
    if profile is None:
        return {}
    if isinstance(profile, str):
        profile = load_machine(profile)
    if not isinstance(profile, Machine):
        profile = machine_from({**_unflatten(profile), "name": profile.get("name", "machine")})
    return {k: list(v) if isinstance(v, tuple) else v for k, v in profile.known().items()}


def _unflatten(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Put gauge fields where a profile's table holds them."""
    gauges = {k: v for k, v in fields.items() if k.endswith("_bar")}
    rest = {k: v for k, v in fields.items() if not k.endswith("_bar")}
    return {**rest, "gauges": {**rest.get("gauges", {}), **gauges}} if gauges else rest


def _free(slug: str, taken: set[str]) -> str:
    name, n = slug, 1
    while name in taken:
        n += 1
        name = f"{slug}-{n}"
    return name


def _record(row: Row) -> MachineRecord:
    return MachineRecord(
        row.id,
        row.name,
        from_json(row.profile, {}),
        row.place,
        row.note,
        row.added_at,
        row.added_by,
        row.fold,
    )
