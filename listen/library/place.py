"""Where the shop's library lies: a folder of this computer, or a database by URL with its vault."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from listen.errors import LibraryError

ENVIRONMENT = "LISTEN_LIBRARY"
VAULT_ENVIRONMENT = "LISTEN_VAULT"
DATABASE = "library.db"


@dataclass(frozen=True, slots=True)
class Place:
    """A library's place.

    Attributes
    ----------
    home : Path
        Folder for what belongs to this computer: temporary files, unpacked models, the embedded database.
    url : str
        Database URL as SQLAlchemy reads it.
    vault : str
        Folder of the vault, or its fsspec URL.
    """

    home: Path
    url: str
    vault: str

    @property
    def embedded(self) -> bool:
        """Whether the database is a file in `home`."""
        return self.url.startswith("sqlite")

    @property
    def shown(self) -> str:
        """The place in words, without a password."""
        if self.embedded:
            return str(self.home)
        from sqlalchemy.engine import make_url

        return make_url(self.url).render_as_string(hide_password=True)


def default_home() -> Path:
    """Return the folder used when nothing is said: LISTEN_LIBRARY, else this user's data folder."""
    given = os.environ.get(ENVIRONMENT, "").strip()
    if given and "://" not in given:
        return Path(given)
    return _user_data() / "library"


def find_place(where: str | os.PathLike[str] | None = None, vault: str | None = None) -> Place:
    """Turn what a person gave into a place.

    Parameters
    ----------
    where : str, path or None
        A folder, or a URL `postgresql://user@host/name`; None asks LISTEN_LIBRARY, then the data folder.
    vault : str or None
        Folder or fsspec URL of the vault; None asks LISTEN_VAULT, then takes `vault` in the home folder.

    Raises
    ------
    LibraryError
        A URL of a kind that is not known, or a database shared over the network with a vault on
        this computer alone.
    """
    asked = os.fspath(where) if where is not None else os.environ.get(ENVIRONMENT, "").strip()
    given_vault = vault or os.environ.get(VAULT_ENVIRONMENT, "").strip()
    if "://" not in asked:
        home = Path(asked).expanduser().absolute() if asked else default_home().absolute()
        return Place(home, f"sqlite:///{home / DATABASE}", given_vault or str(home / "vault"))
    scheme, _, rest = asked.partition("://")
    if scheme not in ("postgresql", "postgresql+psycopg", "postgres"):
        raise LibraryError(
            f"A library cannot be opened by a URL that begins with {scheme!r}: "
            "give a folder, or postgresql://USER@HOST/DATABASE."
        )
    if not given_vault:
        raise LibraryError(
            "A library in PostgreSQL is shared by several benches, so its vault must be a place they all reach: "
            f"name the folder (or fsspec URL) in {VAULT_ENVIRONMENT} or with --vault."
        )
    home = (default_home() if not os.environ.get(ENVIRONMENT, "") else _user_data() / "library").absolute()
    return Place(home, f"postgresql+psycopg://{rest}", given_vault)


def _user_data() -> Path:
    import platformdirs

    return Path(platformdirs.user_data_dir("listen-bench", appauthor=False))
