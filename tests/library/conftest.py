"""Libraries for the tests: SQLite in a folder always, and a real PostgreSQL where one can be started."""

from __future__ import annotations

import os
import shutil
import tempfile
import uuid
from pathlib import Path

import pytest

from listen.library import open_library
from tests.support import postgres


@pytest.fixture(scope="session")
def postgres_url():
    """URL of a running server's database: the gate's own, else one started for these tests."""
    given = os.environ.get(postgres.ENVIRONMENT)
    if given:
        yield given
        return
    if postgres.programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian package `postgresql`)")
    folder = Path(tempfile.mkdtemp(prefix="listen-pg-"))
    folder.chmod(0o755)
    try:
        url = postgres.start(folder)
    except (RuntimeError, KeyError, OSError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        pytest.skip(f"PostgreSQL cannot be started here: {error}")
    yield url
    postgres.stop(folder)
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def fresh_database(postgres_url):
    """URL of an empty database on the server, dropped afterwards."""
    import psycopg

    name = f"t{uuid.uuid4().hex[:12]}"
    with psycopg.connect(postgres_url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    head, _, query = postgres_url.partition("?")
    yield f"{head.rpartition('/')[0]}/{name}?{query}"
    with psycopg.connect(postgres_url, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request, tmp_path, monkeypatch):
    """Arguments of `open_library` for an empty library."""
    monkeypatch.delenv("LISTEN_LIBRARY", raising=False)
    monkeypatch.delenv("LISTEN_VAULT", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if request.param == "sqlite":
        return {"where": str(tmp_path / "library")}
    return {"where": request.getfixturevalue("fresh_database"), "vault": str(tmp_path / "vault")}


@pytest.fixture
def library(where):
    with open_library(**where) as opened:
        yield opened


@pytest.fixture
def small(tmp_path):
    """A library in a folder, for what does not depend on the database."""
    with open_library(tmp_path / "small") as opened:
        yield opened
