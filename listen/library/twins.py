"""Recordings that are in the library twice: sent again, encoded again, or cut out of each other.

Conventions
-----------
Two recordings of the same moment move in level together, in every band, at one
shift in time; two recordings of the same machine do not, because noise does not
repeat itself. What is compared are the changes of the traces from cell to cell,
so that a phone's gain, a codec's tilt and a steady hum do not count.
"""

from __future__ import annotations

import numpy as np
from sqlalchemy import select

from listen.features.collect import BANDS_K
from listen.library import clips as c
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.measure import NAMES_SHA256, unpack_stretches, unpack_traces
from listen.library.records import Twin
from listen.library.similar import RowCache, common_scale, nearest
from listen.spectra import CELL_S

#: From this correlation on two recordings are the same sound. Measured by `tests/measure/library_twins.py`.
SAME_FROM = 0.2
#: Cells over which a change is taken.
_APART = 3
#: Movements beyond so many usual ones count as this many.
_MOST = 2.0
#: Share of the bands' common movement that is taken off.
_SHARED = 0.7
#: Shortest overlap that tells, s.
_LEAST_S = 3.0
#: How many of the most alike clips are looked at closely.
_CANDIDATES = 20


def changes(traces_db: np.ndarray, low: int, high: int) -> np.ndarray:
    """Return how levels move in some bands [shape=(bands, cells - 4)], each band at unit deviation.

    Two cells are taken together and set against those three later: a shift by half a cell then
    costs little. One loud moment may not decide (a limit at twice the usual movement), and most of
    what all bands do together is taken off: doors, taps and the phone's gain do it in every clip,
    while the grain of the noise is each recording's own.
    """
    level = np.clip(traces_db[:, low:high], -100.0, None)
    level = (level[1:] + level[:-1]) / 2
    moved = (level[_APART:] - level[:-_APART]).T
    usual = 1.4826 * np.median(np.abs(moved), axis=1, keepdims=True)
    moved = _unit(np.clip(moved / np.maximum(usual, 0.3), -_MOST, _MOST))
    return _unit(moved - _SHARED * moved.mean(axis=0, keepdims=True)).astype(np.float32)


def _unit(rows: np.ndarray) -> np.ndarray:
    rows = rows - rows.mean(axis=1, keepdims=True)
    return rows / np.maximum(rows.std(axis=1, keepdims=True), 0.2)


def likeness(a_db: np.ndarray, b_db: np.ndarray, bands: tuple[int, int]) -> tuple[float, float]:
    """Compare two clips' traces [shape=(cells, bands)] at every shift.

    Returns
    -------
    likeness : float
        Highest correlation of the changes over an overlap of at least 3 s, -1..1; 0 where there is none.
    shift_s : float
        How much later the sound lies in `b`.
    """
    least = round(_LEAST_S / CELL_S)
    if min(len(a_db), len(b_db)) < least + 1 + _APART:
        return 0.0, 0.0
    a, b = changes(a_db, *bands), changes(b_db, *bands)
    n = 1 << int(np.ceil(np.log2(a.shape[1] + b.shape[1])))
    products = np.fft.irfft(np.conj(np.fft.rfft(a, n)) * np.fft.rfft(b, n), n).sum(axis=0)
    shifts = np.arange(n)
    shifts[shifts > n // 2] -= n
    overlap = np.minimum(a.shape[1], b.shape[1] - shifts) - np.maximum(0, -shifts)
    usable = overlap >= least
    if not usable.any():
        return 0.0, 0.0
    score = np.where(usable, products / np.maximum(overlap, 1) / a.shape[0], -1.0)
    # A short overlap is right by chance more often: it must earn more.
    score = score - np.where(usable, 1.5 / np.sqrt(np.maximum(overlap, 1)), 0.0)
    best = int(np.argmax(score))
    return float(score[best]), float(shifts[best] * CELL_S)


def common_bands(low_hz: float, high_hz: float, mids_hz: np.ndarray) -> tuple[int, int]:
    """Return the places of the bands that both recordings carry, above the lowest hum."""
    inside = np.flatnonzero((mids_hz >= max(250.0, low_hz)) & (mids_hz <= min(8000.0, 0.85 * high_hz)))
    return (int(inside[0]), int(inside[-1]) + 1) if len(inside) else (0, 0)


def twins(database: Database, cache: RowCache, id: str) -> tuple[Twin, ...]:
    """Return the clips that hold the same recording as a clip of the library, the surest first."""
    mids_hz = 1000.0 * 10 ** (np.array(BANDS_K) / 10)
    with database.reading() as connection:
        row = c.find(connection, id)
        m = t.measures
        kept = connection.execute(
            select(m).where(m.c.clip == row.sha256, m.c.names_sha256 == NAMES_SHA256)
        ).one_or_none()
        if kept is None:
            return ()
        rows, _ = cache.get(connection)
        allowed = np.array([h != row.sha256 for h in rows.hashes], bool)
        wanted = common_scale(unpack_stretches(kept.stretches, kept.n_stretches))
        hashes = {rows.hashes[clip] for clip, _, _, _ in nearest(rows, wanted, allowed, _CANDIDATES)}
        # A codec changes the measurements more than the length.
        k = t.clips.c
        alike = select(k.sha256).where(
            k.sha256 != row.sha256, k.duration_s.between(row.duration_s - 0.5, row.duration_s + 0.5)
        )
        hashes |= set(connection.scalars(alike.order_by(k.added_at.desc()).limit(_CANDIDATES)))
        others = connection.execute(
            select(t.clips, m.c.traces, m.c.n_cells)
            .join(m, m.c.clip == t.clips.c.sha256)
            .where(t.clips.c.sha256.in_(hashes))
        ).all()
    mine = unpack_traces(kept.traces, kept.n_cells)
    found = []
    for other in others:
        bands = common_bands(
            max(row.band_low_hz, other.band_low_hz), min(row.band_high_hz, other.band_high_hz), mids_hz
        )
        if bands[1] - bands[0] < 4:
            continue
        how_like, shift_s = likeness(mine, unpack_traces(other.traces, other.n_cells), bands)
        if how_like >= SAME_FROM:
            found.append(Twin(c.record(other), "same sound", round(how_like, 3), round(shift_s, 2)))
    return tuple(sorted(found, key=lambda twin: -twin.likeness))
