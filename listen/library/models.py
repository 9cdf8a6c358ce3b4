"""The shop's own models: every version kept, one current, promoted and rolled back by a single row.

Conventions
-----------
A model's two files lie in the vault like recordings, under their hashes, so
that backups and checks cover them. To be used they are unpacked into the home
folder; a small pointer file there tells `listen hear` and the page which one
is current, without opening the database.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.engine import Row

from listen.ear.bundle import load_bundle
from listen.errors import LibraryError, ModelBundleError
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.pointer import POINTER, write_pointer
from listen.library.records import ModelRecord
from listen.library.values import clean, from_json, now, to_json
from listen.library.vault import Vault, blocks_of, stage

_FILES = ("manifest.json", "arrays.npz")


class Models:
    """The versions of the shop's own model."""

    def __init__(self, database: Database, vault: Vault, home: Path) -> None:
        self._database, self._vault, self._home = database, vault, home

    def add(
        self, folder: Path, *, by: str, clips: Sequence[str] = (), measured: Mapping[str, Any] | None = None, says: str = "",
        state: str = "candidate",
    ) -> ModelRecord:  # fmt: skip
        """Keep a trained model as a candidate (or as refused).

        Parameters
        ----------
        folder : Path
            Bundle as `listen train` writes it; it is loaded once to check it.
        clips : sequence of str
            Hashes of the clips it learnt from.
        measured : mapping
            What was measured before a promotion, beside the current model.
        says : str
            In words what changed.

        Raises
        ------
        LibraryError, ModelBundleError
        """
        if state not in ("candidate", "refused"):
            raise LibraryError(f"A new model is a candidate or refused, not {state[:20]!r}.")
        info = load_bundle(folder).info
        staged = [stage(self._vault.incoming, blocks_of(folder / name), name) for name in _FILES]
        try:
            with self._database.writing() as connection:
                hashes = [s.sha256 for s in staged]
                values = {
                    "version": info.version, "sha256": info.sha256, "manifest_sha256": hashes[0], "arrays_sha256": hashes[1],
                    "made_at": now(), "made_by": clean(by, longest=80), "trained_on": info.trained_on,
                    "clips": to_json(sorted(clips)), "measured": to_json(measured or {}), "says": clean(says), "state": state,
                }  # fmt: skip
                row = connection.execute(insert(t.models).returning(t.models), values).one()
                connection.execute(t.removals.delete().where(t.removals.c.sha256.in_(hashes)))
                for file in staged:
                    self._vault.keep(file)
        finally:
            for file in staged:
                file.path.unlink(missing_ok=True)
        return _record(row)

    def all(self) -> tuple[ModelRecord, ...]:
        """Return all versions, the latest first."""
        with self._database.reading() as connection:
            return tuple(
                _record(row) for row in connection.execute(select(t.models).order_by(t.models.c.id.desc()))
            )

    def get(self, id: int) -> ModelRecord:
        """Return one version."""
        with self._database.reading() as connection:
            return _record(_find(connection, id))

    def current(self) -> ModelRecord | None:
        """Return the version in use; None while it is the one that was shipped."""
        with self._database.reading() as connection:
            row = connection.execute(select(t.models).where(t.models.c.state == "current")).one_or_none()
            return _record(row) if row is not None else None

    def current_folder(self) -> Path | None:
        """Return the folder of the version in use, unpacked; None while it is the shipped one."""
        current = self.current()
        return self.folder(current.id) if current is not None else None

    def folder(self, id: int) -> Path:
        """Return the folder of a version, unpacked from the vault and whole."""
        with self._database.reading() as connection:
            row = _find(connection, id)
        folder = self._home / "models" / row.manifest_sha256[:16]
        try:
            if load_bundle(folder).info.sha256 == row.sha256:
                return folder
        except ModelBundleError:
            # Not unpacked yet, or damaged: the vault has it.
            shutil.rmtree(folder, ignore_errors=True)
        part = folder.with_name(f".{folder.name}.{id}.part")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True, mode=0o700)
        for name, sha256 in zip(_FILES, (row.manifest_sha256, row.arrays_sha256), strict=True):
            (part / name).write_bytes(self._vault.read(sha256))
        if folder.exists():
            shutil.rmtree(part)
        else:
            part.rename(folder)
        return folder

    def promote(self, id: int, *, by: str, why: str) -> ModelRecord:
        """Make a candidate the model in use; the one before is kept.

        Raises
        ------
        LibraryError
            It was refused when it was measured, or is in use already.
        """
        folder = self.folder(id)
        with self._database.writing() as connection:
            row = _find(connection, id)
            if row.state == "refused":
                raise LibraryError(f"Model {id} was measured worse and refused: {row.says}")
            if row.state == "current":
                raise LibraryError(f"Model {id} is in use already.")
            before = _in_use(connection)
            self._switch(connection, before, id, came_after=before, by=by, why=why)
        write_pointer(self._home, folder)
        return self.get(id)

    def roll_back(self, *, by: str, why: str = "rolled back") -> ModelRecord | None:
        """Go back to what was in use before the last promotion; None when that is the shipped model."""
        with self._database.writing() as connection:
            current = _in_use(connection)
            if current is None:
                raise LibraryError("The shipped model is in use: there is nothing to go back from.")
            before = _came_after(connection, current)
            # Going back again goes further back, never forth.
            further = _came_after(connection, before) if before is not None else None
            self._switch(connection, current, before, came_after=further, by=by, why=why)
        write_pointer(self._home, self.folder(before) if before is not None else None)
        return self.get(before) if before is not None else None

    def refresh_pointer(self) -> None:
        """Write the pointer file anew where it does not name the model in use (after a kill or a restore)."""
        folder = self.current_folder()
        there = (
            (self._home / POINTER).read_text(encoding="utf-8").strip()
            if (self._home / POINTER).is_file()
            else ""
        )
        if there != (folder.name if folder else ""):
            write_pointer(self._home, folder)

    def _switch(
        self,
        connection: Connection,
        before: int | None,
        to: int | None,
        *,
        came_after: int | None,
        by: str,
        why: str,
    ) -> None:
        if before is not None:
            connection.execute(update(t.models).where(t.models.c.id == before).values(state="retired"))
        if to is not None:
            connection.execute(update(t.models).where(t.models.c.id == to).values(state="current"))
        values = {
            "model": to, "came_after": came_after, "promoted_at": now(), "promoted_by": clean(by, longest=80), "why": clean(why),
        }  # fmt: skip
        connection.execute(insert(t.promotions), values)


def _in_use(connection: Connection) -> int | None:
    id = connection.scalar(select(t.models.c.id).where(t.models.c.state == "current"))
    return int(id) if id is not None else None


def _came_after(connection: Connection, model: int) -> int | None:
    """Return what was in use before a model was put in use the last time."""
    p = t.promotions.c
    before = connection.scalar(select(p.came_after).where(p.model == model).order_by(p.id.desc()).limit(1))
    return int(before) if before is not None else None


def _find(connection: Connection, id: int) -> Row:
    row = connection.execute(select(t.models).where(t.models.c.id == id)).one_or_none()
    if row is None:
        raise LibraryError(f"There is no model {id} in the library: see `listen library models`.")
    return row


def _record(row: Row) -> ModelRecord:
    return ModelRecord(
        row.id, row.version, row.sha256, row.made_at, row.made_by, row.trained_on, tuple(from_json(row.clips, [])),
        from_json(row.measured, {}), row.says, row.state,
    )  # fmt: skip
