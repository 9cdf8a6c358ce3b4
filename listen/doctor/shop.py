"""The shop's own things: tables and vault of the library, and the certificates of the page."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from listen.doctor.sign import Sign
from listen.errors import ListenError
from listen.library.place import Place

#: How many files of the vault are hashed again; 'listen library verify' hashes all.
_SAMPLE = 20
#: A certificate with less than this left is made anew when the page starts.
_SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class Shop:
    """Signs of tables and vault, and when the latest clip was added (ISO 8601, None without one)."""

    signs: tuple[Sign, ...]
    latest: str | None = None


def library(place: Place) -> Shop:
    """Look at the tables and the vault; nothing is changed and no table is brought up to date."""
    if place.embedded and not Path(place.url.removeprefix("sqlite:///")).is_file():
        return Shop(
            (Sign("library", "note", f"There is no library at {place.shown} yet: the first clip makes it."),)
        )
    from sqlalchemy import func, select

    from listen.library import tables as t
    from listen.library.engine import Database
    from listen.library.schema import HEAD, revision_of

    database = Database(place)
    try:
        with database.reading() as connection:
            step = revision_of(connection)
            if step is None:
                return Shop(
                    (Sign("library", "wrong", f"{place.shown} holds no library: name the right place."),)
                )
            if step != HEAD:
                older = step < HEAD
                what = (
                    "is of an older version; the next 'listen library' command brings it up to date (a copy is kept)"
                    if older
                    else "was made by a newer version of this program: update the program"
                )
                return Shop(
                    (Sign("library", "note" if older else "wrong", f"The library at {place.shown} {what}."),)
                )
            n = connection.scalar(select(func.count()).select_from(t.clips)) or 0
            latest = connection.scalar(select(func.max(t.clips.c.added_at)))
            hashes = list(
                connection.scalars(
                    select(t.clips.c.sha256).order_by(t.clips.c.added_at.desc()).limit(_SAMPLE)
                )
            )
        first = Sign("library", "fine", f"The library at {place.shown} answers: {n} clips.")
        return Shop((first, _vault(place, hashes)), latest)
    except ListenError as error:
        return Shop((Sign("library", "wrong", f"The library at {place.shown}: {error}"),))
    finally:
        database.close()


def _vault(place: Place, hashes: list[str]) -> Sign:
    from listen.library.vault import open_vault

    if "://" not in place.vault and not Path(place.vault).is_dir():
        if not hashes:
            return Sign("vault", "note", "The vault is not made yet: the first clip makes it.")
        return Sign(
            "vault",
            "wrong",
            f"The vault {place.vault} is not there: bring its disk back, or restore a backup.",
        )
    try:
        # A vault is opened only where it may be written.
        if "://" not in place.vault:
            with tempfile.NamedTemporaryFile(dir=place.vault, prefix=".doctor-") as file:
                file.write(b"x" * 4096)
                file.flush()
                os.fsync(file.fileno())
        vault = open_vault(place.vault, place.home)
        bad = [sha256 for sha256 in hashes if vault.hash_of(sha256) != sha256]
    except (OSError, ListenError) as error:
        why = getattr(error, "strerror", None) or str(error)
        return Sign(
            "vault",
            "wrong",
            f"Nothing can be kept in the vault {place.vault} ({why}): make room or give access.",
        )
    if bad:
        return Sign(
            "vault", "wrong",
            f"{len(bad)} of {len(hashes)} recordings looked at are missing or altered (first {bad[0][:12]}): "
            "run 'listen library verify' and restore a backup.",
        )  # fmt: skip
    return Sign(
        "vault", "fine", f"The vault can be written; {len(hashes)} recordings hashed again are whole."
    )


def certificate(place: Place, now: datetime | None = None) -> Sign:
    """Look at the certificates for phones: there, fitting, not run out, the key for its owner alone."""
    folder = place.home / "lan"
    files = {name: folder / name for name in ("authority.pem", "authority.key", "page.pem", "page.key")}
    there = [name for name, path in files.items() if path.is_file()]
    if not there:
        return Sign("certificate", "note", "No certificate for phones yet: 'listen page --lan' makes it.")
    again = "start 'listen page --lan' to make it anew; phones must then trust it anew"
    if len(there) < len(files):
        return Sign("certificate", "wrong", f"A part of the shop's certificate is gone: {again}.")
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        authority = x509.load_pem_x509_certificate(files["authority.pem"].read_bytes())
        page = x509.load_pem_x509_certificate(files["page.pem"].read_bytes())
        page.verify_directly_issued_by(authority)
        for pem, key in (("authority.pem", "authority.key"), ("page.pem", "page.key")):
            public = x509.load_pem_x509_certificate(files[pem].read_bytes()).public_key()
            if load_pem_private_key(files[key].read_bytes(), None).public_key() != public:
                raise ValueError("key and certificate are not a pair")
    except (OSError, ValueError, TypeError, InvalidSignature) as error:
        return Sign(
            "certificate",
            "wrong",
            f"The shop's certificate cannot be used ({error or 'not its own'}): {again}.",
        )
    if os.name == "posix":
        open_to = [name for name in ("authority.key", "page.key") if files[name].stat().st_mode & 0o077]
        if open_to:
            return Sign(
                "certificate",
                "wrong",
                f"{open_to[0]} can be read by others: give it to its owner alone (chmod 600).",
            )
    left = (min(authority.not_valid_after_utc, page.not_valid_after_utc) - (now or datetime.now(UTC))).days
    if left < 0:
        return Sign(
            "certificate",
            "wrong",
            "The page's certificate has run out: start 'listen page --lan' to make it anew.",
        )
    if left < _SOON_DAYS:
        return Sign(
            "certificate",
            "note",
            f"The page's certificate ends in {left} days: 'listen page --lan' makes it anew.",
        )
    return Sign("certificate", "fine", f"The page's certificate holds for {left} days.")
