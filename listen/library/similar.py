"""Past clips that sound alike, by the ear's own measurements.

Conventions
-----------
Rows are stretches of about 8 s, brought to the scale of the shipped model
(mean and deviation of each measurement in its training), so that no column
outweighs another. A distance is the root mean square difference over the
columns: about 0 for the same sound, about 1.4 for two that have nothing in
common. Rows are read once and kept in memory until the library changes.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from sqlalchemy import Connection, func, select

from listen.ear.bundle import load_bundle
from listen.errors import LibraryError
from listen.features.names import TEXTURE_NAMES
from listen.library import clips as c
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.measure import NAMES_SHA256, STRETCH_S, WIDTH, unpack_stretches
from listen.library.outcomes import latest
from listen.library.records import SimilarClip
from listen.resources import shipped

#: Differences beyond so many deviations count as this: one odd column must not decide.
_FURTHEST = 4.0
#: Groups of measurements, as a technician would call them, for saying why.
_GROUPS: tuple[tuple[str, str], ...] = (
    ("shape_", "the same balance of low and high"),
    ("rise_", "it stands out of the background alike"),
    ("slope_", "it grows or fades alike"),
    ("moving_", "it is as steady"),
    ("flat_", "as much hiss against tone"),
    ("tone_", "the same kind of tone"),
    ("crest_", "as rough or as smooth"),
    ("spread_", "as rough or as smooth"),
    ("modulation_", "it beats as fast"),
    ("onset_", "clicks of the same kind and number"),
    ("locked_", "the same hum of the mains"),
    ("shaft_", "the same running motor"),
)


@dataclass(frozen=True, slots=True)
class Rows:
    """All rows of a library: `x` [shape=(n, WIDTH)] float32 on the common scale, and whose they are.

    `clip` [shape=(n,)] is the place in `hashes`; `at_s` [shape=(n,)] where the stretch begins;
    `norms` [shape=(n,)] the squared length of each row.
    """

    x: np.ndarray
    clip: np.ndarray
    at_s: np.ndarray
    hashes: tuple[str, ...]
    norms: np.ndarray

    @classmethod
    def of(cls, parts: list[tuple[str, np.ndarray]]) -> Rows:
        """Stack (hash, raw rows [shape=(k, WIDTH)]) of many clips."""
        counts = [len(rows) for _, rows in parts]
        x = common_scale(
            np.concatenate([rows for _, rows in parts]) if parts else np.zeros((0, WIDTH), np.float32)
        )
        at_s = np.concatenate([np.arange(n) for n in counts]) * STRETCH_S if parts else np.zeros(0)
        clip = np.repeat(np.arange(len(parts)), counts)
        return cls(x, clip, at_s, tuple(p[0] for p in parts), np.einsum("ij,ij->i", x, x))


class RowCache:
    """The rows of one library in memory, read again when the library has changed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._stamp: str | None = None
        self._rows = Rows.of([])
        self._machines: dict[str, str | None] = {}

    def get(self, connection: Connection) -> tuple[Rows, dict[str, str | None]]:
        """Return the rows as the library is now, and the machine of each clip."""
        m, k = t.measures.c, t.clips.c
        usable = m.names_sha256 == NAMES_SHA256
        # One text of all clips and their machines: quicker to compare than rows are to fetch.
        each = m.clip + " " + func.coalesce(k.machine, "")
        stamp = connection.scalar(
            select(func.aggregate_strings(each, ",")).join(t.clips, m.clip == k.sha256).where(usable)
        )
        with self._lock:
            if stamp != self._stamp:
                query = select(m.clip, k.machine, m.n_stretches, m.stretches).join(
                    t.clips, m.clip == k.sha256
                )
                found = connection.execute(query.where(usable).order_by(m.clip)).all()
                self._rows = Rows.of(
                    [(row.clip, unpack_stretches(row.stretches, row.n_stretches)) for row in found]
                )
                self._machines = {row.clip: row.machine for row in found}
                self._stamp = stamp
            return self._rows, self._machines


def common_scale(rows: np.ndarray) -> np.ndarray:
    """Bring raw rows [shape=(n, WIDTH)] to the scale of the shipped model."""
    head = load_bundle(shipped("models") / "ear").heads["textures"]
    # The own measures of a segment come first among its inputs.
    mean, scale = (values[: len(TEXTURE_NAMES)] for values in (head.mean, head.scale))
    mean = np.concatenate([mean, np.zeros(len(mean))]).astype(np.float32)
    scale = np.concatenate([scale, scale]).astype(np.float32)
    return np.clip((rows - mean) / scale, -_FURTHEST, _FURTHEST).astype(np.float32)


def nearest(rows: Rows, wanted: np.ndarray, allowed: np.ndarray, k: int) -> list[tuple[int, float, int, int]]:
    """Find the clips whose stretches lie nearest to any of some stretches.

    Parameters
    ----------
    rows : Rows
    wanted : np.ndarray [shape=(q, WIDTH)]
        On the common scale.
    allowed : np.ndarray [shape=(clips,)], bool
    k : int

    Returns
    -------
    list of (clip place, distance, place in `wanted`, row)
        The nearest first, each clip once.
    """
    if not len(rows.x) or not len(wanted) or not allowed.any():
        return []
    # One product for all wanted rows reads the library's rows once.
    squared = rows.x @ (-2.0 * wanted.T) + np.einsum("ij,ij->i", wanted, wanted)
    which = squared.argmin(axis=1)
    best = np.take_along_axis(squared, which[:, None], axis=1)[:, 0] + rows.norms
    best[~allowed[rows.clip]] = np.inf
    # Ask for more rows than clips: one clip has many stretches.
    found: dict[int, tuple[float, int, int]] = {}
    count = min(len(best), max(64, 16 * k))
    while True:
        nearest_rows = np.argpartition(best, count - 1)[:count]
        for row in nearest_rows[np.argsort(best[nearest_rows], kind="stable")]:
            if np.isfinite(best[row]):
                found.setdefault(int(rows.clip[row]), (float(best[row]), int(which[row]), int(row)))
        if len(found) >= k or count == len(best):
            break
        count = min(len(best), 8 * count)
        found.clear()
    width = rows.x.shape[1]
    order = sorted(found.items(), key=lambda item: item[1][0])[:k]
    return [(clip, float(np.sqrt(max(0.0, d2) / width)), at, row) for clip, (d2, at, row) in order]


def similar(
    database: Database,
    cache: RowCache,
    id: str,
    *,
    k: int = 5,
    judging: bool = True,
    with_outcome: bool = False,
) -> tuple[SimilarClip, ...]:
    """Return past clips that sound like one of the library's; see :meth:`Library.similar`."""
    with database.reading() as connection:
        row = c.find(connection, id)
        kept = connection.execute(select(t.measures).where(t.measures.c.clip == row.sha256)).one_or_none()
        if kept is None or kept.names_sha256 != NAMES_SHA256:
            raise LibraryError(
                "This clip was measured by an older version: run `listen library measure`, then look again."
            )
        wanted = common_scale(unpack_stretches(kept.stretches, kept.n_stretches))
        return _similar(connection, cache, wanted, row.sha256, row.machine, k, judging, with_outcome)


def similar_to_rows(
    database: Database, cache: RowCache, stretches: np.ndarray, machine: str | None, *, k: int = 5,
    with_outcome: bool = False,
) -> tuple[SimilarClip, ...]:  # fmt: skip
    """As :func:`similar`, for raw rows [shape=(n, WIDTH)] of a clip that is not in the library."""
    with database.reading() as connection:
        return _similar(connection, cache, common_scale(stretches), None, machine, k, True, with_outcome)


def _similar(
    connection: Connection, cache: RowCache, wanted: np.ndarray, itself: str | None, machine: str | None, k: int,
    judging: bool, with_outcome: bool,
) -> tuple[SimilarClip, ...]:  # fmt: skip
    rows, machines = cache.get(connection)
    outcomes = latest(connection) if with_outcome else {}
    allowed = np.array(
        [_may(h, machines[h], itself, machine if judging else None) for h in rows.hashes], bool
    )
    if with_outcome:
        allowed &= np.array([h in outcomes for h in rows.hashes], bool)
    found = nearest(rows, wanted, allowed, k)
    hashes = [rows.hashes[clip] for clip, _, _, _ in found]
    records = {
        r.sha256: c.record(r) for r in connection.execute(select(t.clips).where(t.clips.c.sha256.in_(hashes)))
    }
    outcomes = outcomes or latest(connection, hashes)
    return tuple(
        SimilarClip(
            records[h], round(distance, 3), round(at * STRETCH_S, 2), round(float(rows.at_s[row]), 2), outcomes.get(h),
            in_common(wanted[at], rows.x[row]),
        )
        for h, (_, distance, at, row) in zip(hashes, found, strict=True)
        if h in records
    )  # fmt: skip


def _may(other: str, theirs: str | None, itself: str | None, machine: str | None) -> bool:
    """Whether a clip may be shown: not the clip itself, nor (when judging) one of the same machine."""
    return other != itself and (machine is None or theirs != machine)


def in_common(a: np.ndarray, b: np.ndarray) -> tuple[str, ...]:
    """Say in words in which groups of measurements two rows [shape=(WIDTH,)] agree best, where they say anything.

    A group counts when both rows stand out from the average sound in it, and on the same side.
    """
    names = np.array(TEXTURE_NAMES)
    found: dict[str, float] = {}
    for prefix, words in _GROUPS:
        mine = np.flatnonzero(np.char.startswith(names, prefix))
        if not len(mine):
            continue
        off = float(np.sqrt(np.mean((a[mine] - b[mine]) ** 2)))
        strength = float(np.sqrt(np.mean(a[mine] ** 2)))
        if off < 0.6 * strength and strength > 0.5:
            found[words] = max(found.get(words, 0.0), strength - off)
    return tuple(sorted(found, key=lambda words: -found[words])[:3])
