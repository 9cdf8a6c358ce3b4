"""The database connection: what is committed stays, one writer at a time, errors in plain words.

Conventions
-----------
Reading and writing go through :meth:`Database.reading` and
:meth:`Database.writing`. A writer holds one lock for the whole library (SQLite's
own, or an advisory lock in PostgreSQL) from its first line to its commit, so
that a file of the vault and the row that names it change together.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, create_engine, event, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from listen.errors import LibraryError
from listen.library.place import Place

#: How long one writer waits for another, s.
WAIT_S = 30.0
#: Any fixed number: the advisory lock that writers of one PostgreSQL library share.
_LOCK_KEY = 0x6C697374


class Database:
    """Connections to one library's tables.

    Parameters
    ----------
    place : Place

    Raises
    ------
    LibraryError
        From its methods, when the database cannot be reached, is full, busy or damaged.
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self.embedded = place.embedded
        # A server that was started again has forgotten the connections of before: each is tried first.
        options: dict[str, Any] = (
            {"connect_args": {"timeout": WAIT_S}} if self.embedded else {"pool_pre_ping": True}
        )
        self.engine = create_engine(place.url, **options)
        # Two threads of one process wait for each other here, not in the file's lock.
        self._turn = threading.RLock()
        if self.embedded:
            event.listen(self.engine, "connect", _prepare_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)

    @contextmanager
    def reading(self, *, snapshot: bool = False) -> Iterator[Connection]:
        """Open a connection for reading; with `snapshot`, all reads see one moment."""
        with plain_errors():
            connection = self.engine.connect()
            if snapshot and not self.embedded:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            with connection, connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a connection that holds the library's writing lock; commits at the end, or takes all back."""
        with self._turn, plain_errors(), self.engine.connect() as connection:
            connection = connection.execution_options(library_writes=True)
            with connection.begin():
                if not self.embedded:
                    connection.execute(text(f"SET LOCAL lock_timeout = '{int(WAIT_S * 1000)}ms'"))
                    connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK_KEY})
                yield connection

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def _prepare_sqlite(connection: Any, record: Any) -> None:
    # Transactions are begun by `_begin_sqlite`, not by the driver's own rules.
    connection.isolation_level = None
    cursor = connection.cursor()
    _write_ahead(cursor)
    for pragma in (
        # What is acknowledged outlives a power cut.
        "synchronous = FULL",
        "foreign_keys = ON",
        # What is deleted on request is overwritten.
        "secure_delete = ON",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _write_ahead(cursor: Any) -> None:
    """Switch to write-ahead logging; SQLite does not wait by itself when two processes do so at once."""
    for attempt in range(50):
        try:
            if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError:
            if attempt == 49:
                raise
            time.sleep(0.1)


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("library_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn what the database raises into one sentence for a technician."""
    try:
        yield
    except DBAPIError as error:
        raise LibraryError(_words(str(error.orig))) from error
    except SQLAlchemyError as error:
        raise LibraryError(_words(str(error))) from error
    except UnicodeEncodeError as error:
        raise LibraryError(
            "What was typed holds signs that are no text: type it again, or rename the file."
        ) from error


def _words(said: str) -> str:
    short = " ".join(said.split())[:200]
    lower = said.lower()
    if "disk is full" in lower or "no space left" in lower or "disk i/o error" in lower:
        return (
            "The disk with the library is full or fails: nothing was stored. Free some space, then try again."
        )
    if "locked" in lower or "lock timeout" in lower or "busy" in lower:
        return (
            f"Another program has been writing to the library for {WAIT_S:.0f} s: nothing was stored. "
            "Wait until it is done, then try again."
        )
    if "malformed" in lower or "not a database" in lower:
        return "The library's database is damaged: restore a backup with `listen library restore`."
    if "readonly" in lower or "read-only" in lower or "permission denied" in lower:
        return "The library may not be written to here: ask whoever owns its folder or database."
    if "connect" in lower or "could not translate host" in lower or "unable to open" in lower:
        return f"The library's database cannot be reached ({short}): check its address, and that it runs."
    return f"The library's database refuses ({short})."
