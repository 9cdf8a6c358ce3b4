"""Bring a library's tables to this version, step by step, each step whole or not at all."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlalchemy import Connection, inspect

from listen.errors import LibraryError
from listen.library.engine import Database

#: The step whose result :mod:`listen.library.tables` describes.
HEAD = "0003"
_STEPS = Path(__file__).with_name("migrations")


def revision_of(connection: Connection) -> str | None:
    """Return the step a library has reached; None for an empty database."""
    from alembic.migration import MigrationContext

    return MigrationContext.configure(connection).get_current_revision()


def upgrade(connection: Connection, to: str = HEAD) -> None:
    """Apply the missing steps on a connection that is inside a transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_STEPS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def prepare(database: Database, *, create: bool = True) -> None:
    """Make the tables of a new library, or lead an older one here.

    The database file of an older embedded library is copied beside itself first.

    Raises
    ------
    LibraryError
        When there is no library and none may be made, or it was made by a newer version.
    """
    with database.reading() as connection:
        found = revision_of(connection)
        foreign = found is None and bool(inspect(connection).get_table_names())
    if found == HEAD:
        return
    if foreign:
        raise LibraryError(
            f"{database.place.shown} holds tables of another program: name an empty database or folder for the library."
        )
    if found is None and not create:
        raise LibraryError(
            f"There is no library at {database.place.shown}: name the right place, or add a first clip."
        )
    if found is not None and found not in _known_steps():
        raise LibraryError(
            f"The library at {database.place.shown} was made by a newer version of this program: update the program."
        )
    if found is not None and database.embedded:
        _copy_aside(database, found)
    with database.writing() as connection:
        # Another process may have been quicker.
        if revision_of(connection) != HEAD:
            upgrade(connection)


def _known_steps() -> set[str]:
    return {path.stem.split("_")[1] for path in (_STEPS / "versions").glob("step_*.py")}


def _copy_aside(database: Database, revision: str) -> None:
    source = Path(str(database.engine.url.database))
    target = source.with_name(f"{source.name}.before-step-{HEAD}-from-{revision}")
    if target.exists():
        return
    part = target.with_name(f"{target.name}.part")
    part.unlink(missing_ok=True)
    old, new = sqlite3.connect(source), sqlite3.connect(part)
    try:
        old.backup(new)
    finally:
        new.close()
        old.close()
    part.replace(target)
