"""Links for customers: made by the shop, good for one message, known here only by their hash."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from listen.errors import BadParameter

#: 128 bits: nobody guesses a link.
_TOKEN_BYTES = 16
DAYS = (1, 60)
#: A claim without a receipt is a submission under way; older than this it was cut off, and counts no more.
_CLAIM_S = 900.0


@dataclass(frozen=True, slots=True)
class Link:
    """One link as it is kept.

    Attributes
    ----------
    hash : str
        SHA-256 of the token, hexadecimal.
    machine : str or None
        Short name of the machine in the library.
    made_at, expires_at : str
        ISO 8601, UTC.
    note : str
        For the shop alone.
    """

    hash: str
    machine: str | None
    made_at: str
    expires_at: str
    note: str = ""

    def expired(self, at: datetime | None = None) -> bool:
        """Tell whether the link is over."""
        return (at or datetime.now(UTC)) >= datetime.fromisoformat(self.expires_at)


def hash_of(token: str) -> str:
    """Return what a token is known by."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


class Links:
    """The links of one library, each a small file in its `links` folder."""

    def __init__(self, home: Path) -> None:
        self._folder = Path(home) / "links"

    def make(
        self, *, machine: str | None, days: int = 7, note: str = "", now: datetime | None = None
    ) -> tuple[str, Link]:
        """Make a link.

        Returns
        -------
        token : str
            Goes into the address and is kept nowhere.
        link : Link

        Raises
        ------
        BadParameter
            When `days` is out of range.
        """
        if not DAYS[0] <= days <= DAYS[1]:
            raise BadParameter(f"A link holds {DAYS[0]} to {DAYS[1]} days, not {days}: name another number.")
        at = now or datetime.now(UTC)
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        link = Link(
            hash_of(token), machine, at.isoformat(timespec="seconds"),
            (at + timedelta(days=days)).isoformat(timespec="seconds"), note[:200],
        )  # fmt: skip
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._write(f"{link.hash}.json", asdict(link))
        return token, link

    def find(self, token: str) -> Link | None:
        """Return the link of a token, expired or not; None for a token that was never given out."""
        if not 16 <= len(token) <= 64:
            return None
        return self._read(hash_of(token))

    def all(self) -> tuple[Link, ...]:
        """Return every link, the newest first."""
        found = (self._read(path.stem) for path in sorted(self._folder.glob("*.json")))
        return tuple(sorted((link for link in found if link), key=lambda link: link.made_at, reverse=True))

    def withdraw(self, hash: str) -> bool:
        """End a link now, by its hash or the beginning of it; False where none or several fit."""
        fitting = [link for link in self.all() if link.hash.startswith(hash)] if len(hash) >= 6 else []
        if len(fitting) != 1:
            return False
        (self._folder / f"{fitting[0].hash}.json").unlink(missing_ok=True)
        return True

    def claim(self, link: Link, purpose: str) -> bool:
        """Take a link's one use for a purpose (`message` or `alarm`); False when it is taken.

        Made so that of two submissions at the same moment one loses.
        """
        path = self._folder / f"{link.hash}.{purpose}"
        for _ in range(2):
            try:
                os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
                return True
            except FileExistsError:
                if not self._stale(path):
                    return False
                path.unlink(missing_ok=True)
        return False

    def settle(self, link: Link, purpose: str, receipt: str) -> None:
        """Note the receipt under which a claimed use was stored."""
        self._write(f"{link.hash}.{purpose}", {"receipt": receipt})

    def release(self, link: Link, purpose: str) -> None:
        """Give a claimed use back: nothing was stored."""
        path = self._folder / f"{link.hash}.{purpose}"
        if not self.receipt(link, purpose):
            path.unlink(missing_ok=True)

    def receipt(self, link: Link, purpose: str) -> str:
        """Return the receipt of a use, empty where there is none."""
        try:
            return str(json.loads((self._folder / f"{link.hash}.{purpose}").read_text("utf-8"))["receipt"])
        except (OSError, ValueError, KeyError, TypeError):
            return ""

    def _stale(self, path: Path) -> bool:
        try:
            info = path.stat()
        except OSError:
            return True
        return info.st_size == 0 and datetime.now(UTC).timestamp() - info.st_mtime > _CLAIM_S

    def _read(self, hash: str) -> Link | None:
        try:
            return Link(**json.loads((self._folder / f"{hash}.json").read_text("utf-8")))
        except (OSError, ValueError, TypeError):
            return None

    def _write(self, name: str, values: dict[str, object]) -> None:
        part = self._folder / f".{name}.{secrets.token_hex(4)}"
        with os.fdopen(
            os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8"
        ) as file:
            json.dump(values, file)
            file.flush()
            os.fsync(file.fileno())
        part.replace(self._folder / name)
