"""Hash every file again and hold tables and vault against each other."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from sqlalchemy import Connection, func, select, text

from listen.ear.bundle import load_bundle
from listen.errors import LibraryError, ModelBundleError
from listen.features.collect import BANDS_K
from listen.library import deletion
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.measure import NAMES_SHA256, WIDTH, unpack_stretches, unpack_traces
from listen.library.models import Models
from listen.library.records import Checked
from listen.library.schema import HEAD, revision_of
from listen.library.values import to_json
from listen.library.vault import YOUNG_S, Vault


def verify(
    database: Database, vault: Vault, models: Models, echo: Callable[[str], object] | None = None
) -> Checked:
    """Check a library wholly; nothing is changed.

    Parameters
    ----------
    echo : callable, optional
        Gets a line of progress now and then.

    Returns
    -------
    Checked
        Problems: files that are missing or not what their name says, files of deleted clips, rows that
        do not fit each other, measurements or models that cannot be used. Notes: leftovers of a kill.
    """
    problems, notes, leftovers = [], [], []
    with database.reading(snapshot=True) as connection:
        if revision_of(connection) != HEAD:
            problems.append("the tables are not those of this version")
        problems += _tables(connection, database.embedded)
        needed = deletion.needed_files(connection)
        clips = set(connection.scalars(select(t.clips.c.sha256)))
        buried = set(connection.scalars(select(t.tombstones.c.sha256)))
        due = set(connection.scalars(select(t.removals.c.sha256)))
        problems += _measures(connection)
    if both := clips & buried:
        problems.append(f"{len(both)} clip(s) are there and deleted at once: {min(both)[:12]}…")
    there, young = set(), set()
    for name, age_s in vault.names():
        if name.startswith("incoming/"):
            if age_s > YOUNG_S:
                leftovers.append(name)
            continue
        there.add(name)
        if age_s <= YOUNG_S:
            young.add(name)
    for done, sha256 in enumerate(sorted(needed), start=1):
        found = vault.hash_of(sha256)
        if found is None:
            problems.append(f"the vault lacks {sha256[:12]}…, which a row names")
        elif found != sha256:
            problems.append(f"the file {sha256[:12]}… of the vault is damaged: it no longer has its hash")
        if echo is not None and done % 200 == 0:
            echo(f"{done} of {len(needed)} files")
    for name in sorted(there - needed):
        if name in buried or name in due:
            problems.append(f"the file {name[:12]}… belongs to a deleted clip and is still in the vault")
        elif name not in young:
            leftovers.append(name)
    if leftovers:
        notes.append(
            f"{len(leftovers)} file(s) that no row names, left by a kill; `listen library tidy` removes them"
        )
    if fresh := (there - needed) & young:
        notes.append(f"{len(fresh)} young file(s) that no row names yet: another program may be adding clips")
    problems += _models(models)
    return Checked(tuple(problems), tuple(notes), len(needed), len(clips), tuple(leftovers))


def tidy(database: Database, vault: Vault, found: Checked) -> int:
    """Remove the leftovers that `verify` found, unless a row names them by now; return how many went."""
    removed = 0
    with database.writing() as connection:
        needed = deletion.needed_files(connection)
        for name in found.leftovers:
            if name.startswith("incoming/"):
                (vault.incoming / name.removeprefix("incoming/")).unlink(missing_ok=True)
                removed += 1
            elif name not in needed:
                vault.remove(name)
                removed += 1
    return removed


def digest(connection: Connection) -> str:
    """Return one hash over all rows of a library: equal libraries have equal ones, on any database."""
    total = hashlib.sha256()
    for table in t.metadata.sorted_tables:
        keys = list(table.primary_key.columns)
        for row in connection.execute(select(table).order_by(*keys)):
            values = [v.hex() if isinstance(v, bytes | memoryview) else v for v in row]
            total.update(f"{table.name}:{to_json(values)}\n".encode())
    return total.hexdigest()


def _tables(connection: Connection, embedded: bool) -> list[str]:
    problems = []
    if embedded:
        said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(5)"))]
        problems += [f"the database is damaged: {line}" for line in said if line != "ok"]
        broken = connection.execute(text("PRAGMA foreign_key_check")).all()
        if broken:
            problems.append(f"{len(broken)} row(s) name something that is not there, in table {broken[0][0]}")
    without = connection.scalar(
        select(func.count()).select_from(t.clips).outerjoin(t.measures).where(t.measures.c.clip.is_(None))
    )
    if without:
        problems.append(f"{without} clip(s) have no measurements")
    current = connection.scalar(
        select(func.count()).select_from(t.models).where(t.models.c.state == "current")
    )
    if (current or 0) > 1:
        problems.append(f"{current} models are current at once")
    return problems


def _measures(connection: Connection) -> list[str]:
    problems, old = [], 0
    m = t.measures.c
    for row in connection.execute(select(t.measures)):
        if row.names_sha256 != NAMES_SHA256:
            old += 1
            continue
        try:
            fits = unpack_stretches(row.stretches, row.n_stretches).shape == (row.n_stretches, WIDTH)
            fits = fits and unpack_traces(row.traces, row.n_cells).shape == (row.n_cells, len(BANDS_K))
        except LibraryError:
            fits = False
        if not fits:
            problems.append(
                f"the measurements of clip {row.clip[:12]}… are damaged: run `listen library measure`"
            )
    stray = connection.scalar(
        select(func.count())
        .select_from(t.measures)
        .outerjoin(t.clips, m.clip == t.clips.c.sha256)
        .where(t.clips.c.sha256.is_(None))
    )
    if stray:
        problems.append(f"{stray} row(s) of measurements belong to no clip")
    return problems


def _models(models: Models) -> list[str]:
    problems = []
    for record in models.all():
        try:
            bundle = load_bundle(models.folder(record.id))
        except (ModelBundleError, LibraryError) as error:
            problems.append(f"model {record.id} cannot be used: {error}")
            continue
        if bundle.info.sha256 != record.sha256:
            problems.append(f"model {record.id} is not the one that its row names")
    return problems
