"""Read a TOML table strictly: every key known, every value of the right kind.

Why it exists: a misspelt key in a fault or in a machine profile must not pass
as silence. A :class:`Table` hands out keys once, and :meth:`Table.done` names
whatever is left over.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from listen.errors import ListenError

_KINDS = {str: "a text", bool: "true or false", float: "a number", int: "a whole number"}


class Table:
    """One TOML table that is being read.

    Parameters
    ----------
    values : mapping
        As :mod:`tomllib` gives it.
    where : str
        How to name this table to a reader, for example ``faults/chatter.toml``.
    error : type of ListenError
        Raised on anything that is not as it should be.
    """

    def __init__(self, values: Mapping[str, Any], where: str, error: type[ListenError]) -> None:
        self._values = dict(values)
        self.where = where
        self.error = error

    def fail(self, what: str) -> ListenError:
        """Return (not raise) the error that names this table."""
        return self.error(f"{self.where}: {what}")

    def take(self, key: str, kind: type, default: Any = ...) -> Any:
        """Hand out one value of `kind`; a missing key gives `default`, or fails without one."""
        if key not in self._values:
            if default is ...:
                raise self.fail(f"the key {key!r} is missing.")
            return default
        value = self._values.pop(key)
        if kind is float and type(value) is int:
            value = float(value)
        if type(value) is not kind:
            raise self.fail(f"{key!r} must be {_KINDS.get(kind, kind.__name__)}, not {value!r}.")
        return value

    def word(self, key: str, allowed: Iterable[str], default: Any = ...) -> Any:
        """Hand out a text that must be one of `allowed`."""
        value = self.take(key, str, default)
        if value is not default and value not in tuple(allowed):
            raise self.fail(f"{key!r} is {value!r}; it must be one of {', '.join(allowed)}.")
        return value

    def words(self, key: str, allowed: Iterable[str] | None = None, default: Any = ()) -> tuple[str, ...]:
        """Hand out a list of texts, each one of `allowed` when that is given."""
        values = self.take(key, list, default)
        for value in values:
            if not isinstance(value, str):
                raise self.fail(f"{key!r} must be a list of texts, not {values!r}.")
            if allowed is not None and value not in tuple(allowed):
                raise self.fail(f"{key!r} holds {value!r}; known are {', '.join(allowed)}.")
        return tuple(values)

    def pair(self, key: str, default: Any = None) -> tuple[float, float] | None:
        """Hand out ``[low, high]`` as two numbers in rising order."""
        value = self.take(key, list, default)
        if value is default:
            return default
        if len(value) != 2 or any(type(v) not in (int, float) for v in value) or value[0] >= value[1]:
            raise self.fail(f"{key!r} must be [low, high] with low below high, not {value!r}.")
        return float(value[0]), float(value[1])

    def table(self, key: str) -> Table:
        """Hand out a table within this one; an absent one is empty."""
        return Table(self.take(key, dict, {}), f"{self.where} [{key}]", self.error)

    def tables(self, key: str) -> list[Table]:
        """Hand out a list of tables, each named by its place."""
        rows = self.take(key, list, [])
        if any(not isinstance(row, dict) for row in rows):
            raise self.fail(f"{key!r} must be a list of tables.")
        return [Table(row, f"{self.where} [[{key}]] {i}", self.error) for i, row in enumerate(rows, 1)]

    def names(self) -> list[str]:
        """Return the keys that are still there, in order."""
        return list(self._values)

    def rest_of(self, key: str) -> Any:
        """Hand out one value of whatever kind; the caller checks it."""
        if key not in self._values:
            raise self.fail(f"the key {key!r} is missing.")
        return self._values.pop(key)

    def rest(self) -> dict[str, Any]:
        """Hand out all that is left."""
        left, self._values = self._values, {}
        return left

    def done(self) -> None:
        """Fail when a key was not asked for."""
        if self._values:
            names = ", ".join(repr(key) for key in sorted(self._values))
            raise self.fail(f"unknown key {names}; take it out or correct its spelling.")


def read_toml(path: Path, where: str, error: type[ListenError]) -> Table:
    """Read one TOML file.

    Raises
    ------
    ListenError
        Of the given type, when the file cannot be read or is not TOML.
    """
    try:
        return Table(tomllib.loads(path.read_text(encoding="utf-8")), where, error)
    except OSError as problem:
        raise error(f"{where}: the file cannot be read ({problem.strerror}).") from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise error(f"{where}: this is not valid TOML ({problem}).") from problem
