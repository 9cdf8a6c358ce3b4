"""The shop's PIN and the passes given for it."""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import time
from collections.abc import Callable
from pathlib import Path

from listen.errors import BadParameter, ListenError

DIGITS = 6
#: A phone asks again after so long.
PASS_S = 30 * 24 * 3600
_FILE, _KEY_FILE = "pin", "pass.key"


def load_pin(folder: Path, *, new: str | None = None) -> str:
    """Return the PIN kept in a private folder, made when there is none; `new` replaces it.

    Raises
    ------
    BadParameter
        When `new` is not six digits, or too simple.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / _FILE
    if new is not None:
        if not (new.isascii() and new.isdigit() and len(new) == DIGITS):
            raise BadParameter(f"The PIN has {DIGITS} digits: choose another.")
        if len(set(new)) < 3 or new in "01234567890" or new in "09876543210":
            raise BadParameter("That PIN is the first one anybody tries: choose another.")
        _write(path, new)
    try:
        kept = path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        kept = f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"
        _write(path, kept)
    if not (kept.isdigit() and len(kept) == DIGITS):
        raise ListenError(f"The file {path} holds no PIN: remove it, and a new one is made.")
    return kept


class Passes:
    """Passes that a browser shows instead of the PIN: signed, with an end, void when the PIN changes."""

    def __init__(self, folder: Path, pin: str, *, clock: Callable[[], float] = time.time) -> None:
        path = folder / _KEY_FILE
        try:
            key = path.read_bytes()
        except FileNotFoundError:
            key = secrets.token_bytes(32)
            _write(path, key)
        self._key = hmac.digest(key, pin.encode(), "sha256")
        self._pin = pin
        self._clock = clock

    def fits(self, pin: str) -> bool:
        """Compare in constant time."""
        return hmac.compare_digest(
            hashlib.sha256(pin.encode("utf-8", "replace")).digest(),
            hashlib.sha256(self._pin.encode()).digest(),
        )

    def give(self) -> str:
        """Return a fresh pass."""
        body = f"{int(self._clock()) + PASS_S}.{secrets.token_hex(8)}"
        return f"{body}.{self._sign(body)}"

    def holds(self, given: str) -> bool:
        """Tell whether a pass was given by this shop and is not over."""
        body, _, signature = given.rpartition(".")
        if not hmac.compare_digest(signature.encode("utf-8", "replace"), self._sign(body).encode()):
            return False
        end = body.partition(".")[0]
        return end.isdigit() and int(end) > self._clock()

    def _sign(self, body: str) -> str:
        return hmac.digest(self._key, body.encode("utf-8", "replace"), "sha256").hex()


def _write(path: Path, data: str | bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        file.write(data.encode("ascii") if isinstance(data, str) else data)
    part.replace(path)
