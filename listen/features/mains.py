"""Mains frequency of a clip, and which lines are locked to it and which slip.

Conventions
-----------
Coils, half-wave pumps and stalled motors give lines at whole multiples of the
mains; a turning induction motor gives a comb at its shaft rate, which slip
keeps off every whole fraction of the mains (common practice; synchronous speed
120 f / p, any electrical handbook). One estimate is made for a whole clip and
withheld when the evidence is thin: a wrong mains frequency would turn a
turning motor into a stalled one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.features.lines import LineTable
from listen.types import Mains

#: Public supply stays within ±1 % for 99.5 % of a year (EN 50160, as summarised in two manuals). Motors slip by 0.6 % and more:
#: what strays further than the second of these is the mains only where it owns most of the lines.
TOLERANCE, _NEAR = 0.01, 0.005
_STEP = 0.0002
_HIGHEST_K = 24
#: A rich comb (4 multiples and more that stay) decides at a small share of the lines; two lines must own most of them
#: (set on 2923 training and unscored scenes: right 1129 of 1622 with a hum, a buzz or strokes, wrong 3; without any, wrong in none of 1301).
_RICH_HARMONICS, _RICH_SHARE = 4, 0.12
_POOR_HARMONICS, _POOR_SHARE = 2, 0.55
_MARGIN = 2.0
#: A line weighs by what it stands over the first of these, and none more than at the second: noise makes many that are hardly higher.
_LINE_FROM_DB, _LINE_CAP_DB = 12.0, 40.0
#: A line counts as locked when it is this near a multiple, Hz (plus the error of the estimate at that multiple).
LOCK_HZ = 0.22


@dataclass(frozen=True, slots=True)
class MainsEvidence:
    """Why the estimate was made or withheld; `share` of line weight that one comb explains, 0..1."""

    hz: int | None
    measured_hz: float | None
    share: float
    other_share: float
    harmonics: int


def _lines_of(table: LineTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    window = np.broadcast_to(np.arange(len(table.hz))[:, None], table.hz.shape)
    keep = np.isfinite(table.hz) & (table.hz < 1250.0) & (table.over_db > _LINE_FROM_DB)
    return (
        table.hz[keep].astype(np.float64),
        np.minimum(table.over_db[keep], _LINE_CAP_DB).astype(np.float64) - _LINE_FROM_DB,
        window[keep],
    )


#: Beyond this many times LOCK_HZ a line matches a multiple by less than a hundred-thousandth.
_FAR = 2.5


def comb_share(hz: np.ndarray, weight: np.ndarray, fundamental_hz: float) -> tuple[float, np.ndarray]:
    """Share of line weight within reach of multiples of a fundamental, and which lines match.

    Parameters
    ----------
    hz, weight : np.ndarray [shape=(k,)]
    fundamental_hz : float

    Returns
    -------
    share : float, 0..1
    match : np.ndarray [shape=(k,)], 0..1
    """
    if not len(hz):
        return 0.0, np.zeros(0)
    k = np.round(hz / fundamental_hz)
    off = hz - k * fundamental_hz
    match = np.exp(-0.5 * (off / (0.5 * LOCK_HZ)) ** 2) * ((k >= 1) & (k <= _HIGHEST_K))
    return float(np.sum(match * weight) / np.sum(weight)), match


def weigh_mains(table: LineTable) -> MainsEvidence:
    """Weigh 50 against 60 Hz on all lines of a clip."""
    hz, weight, window = _lines_of(table)
    if len(hz) < 3:
        return MainsEvidence(None, None, 0.0, 0.0, 0)
    # Lines that stay from window to window count more: voices and bowls ring past.
    stays = _persistence(hz, window)
    weight = weight * stays
    if weight.sum() <= 0:
        return MainsEvidence(None, None, 0.0, 0.0, 0)
    best: dict[int, tuple[float, float, int]] = {}
    for nominal in (50, 60):
        grid = nominal * np.arange(1 - TOLERANCE, 1 + TOLERANCE + _STEP / 2, _STEP)
        # Most lines are within reach of no multiple, wherever in its tolerance the mains lies.
        k = np.round(hz / nominal)
        close = np.abs(hz - k * nominal) < k * nominal * TOLERANCE + _FAR * LOCK_HZ
        shares = [comb_share(hz[close], weight[close], f)[0] for f in grid]
        at = int(np.argmax(shares))
        share, match = comb_share(hz, weight, grid[at])
        fitted = _refine(hz, weight * match, grid[at])
        share, match = comb_share(hz, weight, fitted)
        k = np.round(hz / fitted)
        held = [
            int(n)
            for n in np.unique(k[match > 0.5])
            if np.sum((match * stays)[k == n]) >= 0.5 * max(1, len(np.unique(window)) * 0.5)
        ]
        # 300, 600 … Hz belong to both systems and decide nothing.
        other = 60 if nominal == 50 else 50
        own = [n for n in held if abs(n * nominal / other - round(n * nominal / other)) > 1e-6]
        # A comb that the fit follows out of the tolerance is not the mains, nor one that strays, among others, as a motor does.
        off = abs(fitted / nominal - 1.0)
        is_mains = bool(own) and (off <= _NEAR or (off <= TOLERANCE and share >= _POOR_SHARE))
        best[nominal] = (share if is_mains else 0.0, fitted, len(held))
    nominal = max(best, key=lambda n: best[n][0])
    share, fitted, harmonics = best[nominal]
    other_share = best[60 if nominal == 50 else 50][0]
    rich = harmonics >= _RICH_HARMONICS and share >= _RICH_SHARE
    poor = harmonics >= _POOR_HARMONICS and share >= _POOR_SHARE
    if not (rich or poor) or share < _MARGIN * other_share:
        return MainsEvidence(None, None, share, other_share, harmonics)
    return MainsEvidence(nominal, fitted, share, other_share, harmonics)


def _persistence(hz: np.ndarray, window: np.ndarray) -> np.ndarray:
    """1 where the next or previous window holds the same line (within 0.35 Hz), else 0.15."""
    out = np.full(len(hz), 0.15)
    order = np.lexsort((hz, window))
    windows, starts = np.unique(window[order], return_index=True)
    if len(windows) == 1:
        return np.ones(len(hz))
    members = dict(zip(windows.tolist(), np.split(order, starts[1:]), strict=True))
    for w, mine in members.items():
        near = np.full(len(mine), np.inf)
        for neighbour in (w - 1, w + 1):
            if neighbour not in members:
                continue
            other = hz[members[neighbour]]
            place = np.searchsorted(other, hz[mine])
            for shift in (-1, 0):
                index = np.clip(place + shift, 0, len(other) - 1)
                near = np.minimum(near, np.abs(other[index] - hz[mine]))
        out[mine[near < 0.35]] = 1.0
    return out


def _refine(hz: np.ndarray, weight: np.ndarray, start_hz: float) -> float:
    k = np.maximum(np.round(hz / start_hz), 1)
    if weight.sum() <= 0:
        return float(start_hz)
    # Least squares through the origin: high multiples fix the frequency best.
    return float(np.sum(weight * k * hz) / np.sum(weight * k * k))


def estimate_mains(table: LineTable, given_hz: int | None = None) -> Mains:
    """Estimate the mains of a clip, or withhold it.

    Parameters
    ----------
    table : LineTable
    given_hz : {50, 60} or None
        What a person or the machine profile says; it stands, and the fit is made around it.
    """
    evidence = weigh_mains(table)
    if given_hz is not None:
        measured = evidence.measured_hz if evidence.hz == given_hz else None
        return Mains(given_hz, "given", measured)
    if evidence.hz is None:
        return Mains(None, "unknown", None)
    return Mains(evidence.hz, "heard", evidence.measured_hz)


@dataclass(frozen=True, slots=True)
class CombTracks:
    """Locked and slipping lines of each 2 s window.

    Attributes
    ----------
    even_db, odd_db : np.ndarray [shape=(v,)]
        Summed level of lines at even (2f, 4f …) and odd multiples of the mains.
    even_n, odd_n : np.ndarray [shape=(v,)]
        How many there are.
    even_high_n : np.ndarray [shape=(v,)]
        How many even ones there are from the eighth multiple up.
    even_over_db : np.ndarray [shape=(v,)]
        Height of the most prominent even line over its neighbourhood.
    line_hz : np.ndarray [shape=(v,)]
        Frequency of the strongest even line, NaN where there is none.
    shaft_hz : np.ndarray [shape=(v,)]
        Shaft rate of a turning motor, NaN where no comb slips.
    shaft_n, shaft_share : np.ndarray [shape=(v,)]
        Lines of that comb, and their share of the weight of all that is not locked.
    shaft_db : np.ndarray [shape=(v,)]
        Summed level of that comb.
    poles : int or None
        Pole number that the shaft rate points to.
    """

    even_db: np.ndarray
    odd_db: np.ndarray
    even_n: np.ndarray
    odd_n: np.ndarray
    even_high_n: np.ndarray
    even_over_db: np.ndarray
    odd_over_db: np.ndarray
    line_hz: np.ndarray
    shaft_hz: np.ndarray
    shaft_n: np.ndarray
    shaft_share: np.ndarray
    shaft_db: np.ndarray
    poles: int | None


#: Slip of small motors: 0.8 % large to 5 % at half a horsepower, 2–8 % rated (handbook); loaded beyond that it grows until the
#: motor stalls near a fifth (encyclopaedia). A pump that works against a closed way was taken for a stalled one from 9 % on.
SLIP_RANGE = (0.006, 0.12)
POLES = (2, 4, 6)
_SHAFT_HIGHEST_HZ = 700.0
_HIGH_K, _HIGH_OVER_DB = 8, 12.0
_LEAK_DB = 50.0
#: Height at which a peak weighs nothing: noise makes many that are hardly higher.
_NO_LINE_DB = 8.0


def _shaft_candidates(mains_hz: float) -> np.ndarray:
    slips = np.arange(SLIP_RANGE[0], SLIP_RANGE[1], 0.0005)
    return np.concatenate([2.0 * mains_hz / p * (1 - slips) for p in POLES])


def poles_of(shaft_hz: float, mains_hz: float) -> int:
    """Pole number that a shaft rate points to, at a mains frequency."""
    return min(POLES, key=lambda poles: abs(poles - 2.0 * mains_hz / shaft_hz))


def _fit_shaft(hz: np.ndarray, weight: np.ndarray, candidates: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Best comb among candidates: (shaft_hz, score, match); the score takes off what chance would match."""
    # Single precision and few temporaries: this runs for every half second of a clip.
    lines, combs = hz.astype(np.float32)[None, :], candidates.astype(np.float32)[:, None]
    k = np.rint(lines / combs)
    reach = np.float32(0.16) + np.float32(0.004) * k
    off = np.abs(lines - k * combs)
    match = (off < reach) & (k >= 1)
    chance = np.minimum(np.float32(1.0), reach * (2 / combs))
    total = weight.sum()
    score = (match - chance) @ weight.astype(np.float32) / total
    for at in np.argsort(score)[::-1][:12]:
        # Two lines fit many combs: only a third distinct multiple makes one.
        if len(np.unique(k[at][match[at]])) >= 3:
            return float(candidates[at]), float(score[at]), match[at]
    return float(candidates[0]), -1.0, np.zeros(len(hz), bool)


def _locked(hz: np.ndarray, mains_hz: float | None, slack: float) -> tuple[np.ndarray, np.ndarray]:
    """Nearest multiple of the mains of each line, and whether the line lies on it [shapes like hz]."""
    if mains_hz is None:
        return np.zeros(hz.shape), np.zeros(hz.shape, bool)
    k = np.round(hz.astype(float) / mains_hz)
    return k, (np.abs(hz - k * mains_hz) < LOCK_HZ + slack * k) & (k >= 1)


#: Motors whose shaft shows by a single line: two poles and four (of six it lies below what phones record).
_LONE_POLES = (2, 4)
#: The line must stand this high in half of the windows, keep its place within this, and not lie in the skirts of the strongest.
_LONE_OVER_DB, _LONE_SPREAD_HZ, _LONE_SKIRT_DB = 14.0, 0.5, 25.0
#: Windows before a hum that are looked at, and those just before it, which reach into it.
_BEFORE_WINDOWS, _LEAD_WINDOWS = 12, 4


def lone_shaft_hz(table: LineTable, mains_hz: float, first: int, stop: int) -> float | None:
    """Rate of a shaft that shows by one line only, beside a hum of windows `first` to `stop`; None without one.

    A phone that cuts the low end leaves the comb of a turning motor no three lines, and the
    one that is left lies where slip puts it, and nothing that is locked to the mains. A line that was
    there before the hum belongs to something else.
    """
    hz, over_db, level_db = (x[first:stop].astype(float) for x in (table.hz, table.over_db, table.level_db))
    loud = level_db > np.nanmax(level_db, axis=1, initial=-200.0, keepdims=True) - _LONE_SKIRT_DB
    before_hz = table.hz[max(0, first - _BEFORE_WINDOWS) : max(0, first - _LEAD_WINDOWS)].astype(float)
    for poles in _LONE_POLES:
        synchronous = 2.0 * mains_hz / poles
        low, high = (synchronous * (1.0 - slip) for slip in (SLIP_RANGE[1], SLIP_RANGE[0]))
        high = min(high, synchronous - LOCK_HZ)
        here = (hz >= low) & (hz <= high) & (over_db >= _LONE_OVER_DB) & loud
        if 2 * int(here.any(axis=1).sum()) <= stop - first:
            continue
        found = hz[
            np.flatnonzero(here.any(axis=1)),
            np.argmax(np.where(here, over_db, -np.inf), axis=1)[here.any(axis=1)],
        ]
        shaft = float(np.median(found))
        steady = int((np.abs(found - shaft) <= _LONE_SPREAD_HZ).sum())
        if 2 * steady <= stop - first or (np.abs(before_hz - shaft) <= _LONE_SPREAD_HZ).any():
            continue
        return shaft
    return None


def _distinct(multiples: np.ndarray) -> np.ndarray:
    """How many different multiples each row holds; 0 stands for none."""
    ordered = np.sort(multiples, axis=1)
    return ((np.diff(ordered, axis=1) > 0) & (ordered[:, 1:] > 0)).sum(axis=1) + (ordered[:, 0] > 0)


def comb_tracks(table: LineTable, mains: Mains) -> CombTracks:
    """Sort the lines of each window into locked and slipping ones.

    Without a mains estimate nothing is called locked, and a shaft is looked
    for under both systems.
    """
    v = len(table.hz)
    nan, zero = np.full(v, np.nan), np.zeros(v)
    even_db, odd_db, shaft_db = np.full(v, -120.0), np.full(v, -120.0), np.full(v, -120.0)
    even_n, odd_n, even_high_n, shaft_n, shaft_share = (zero.copy() for _ in range(5))
    even_over, odd_over, line_hz, shaft_hz = zero.copy(), zero.copy(), nan.copy(), nan.copy()
    measured = mains.measured_hz or (float(mains.hz) if mains.hz else None)
    slack = 0.004 if mains.measured_hz else 0.05
    fundamentals = [measured] if measured else [50.0, 60.0]
    candidates = np.concatenate([_shaft_candidates(f) for f in fundamentals])
    finite = np.isfinite(table.hz)
    multiple, locked = _locked(table.hz, measured, slack)
    power = np.where(finite, 10 ** (table.level_db / 10), 0.0)
    for parity, db, n, height in ((0, even_db, even_n, even_over), (1, odd_db, odd_n, odd_over)):
        mine = locked & (multiple % 2 == parity)
        rows = mine.any(axis=1)
        if not rows.any():
            continue
        db[rows] = 10 * np.log10(np.where(mine, power, 0.0)[rows].sum(axis=1))
        n[rows] = _distinct(np.where(mine, multiple, 0.0))[rows]
        height[rows] = np.where(mine, table.over_db, -np.inf)[rows].max(axis=1)
        if parity == 0:
            strongest = np.argmax(np.where(mine, table.level_db, -np.inf), axis=1)
            line_hz[rows] = table.hz[np.arange(v), strongest][rows]
            high = mine & (table.over_db > _HIGH_OVER_DB) & (multiple >= _HIGH_K)
            even_high_n[rows] = _distinct(np.where(high, multiple, 0.0))[rows]
    free = finite & ~locked & (table.hz < _SHAFT_HIGHEST_HZ)
    loudest = np.where(finite, table.level_db, -np.inf).max(axis=1, initial=-np.inf)
    for w in np.flatnonzero(finite.any(axis=1)):
        near = slice(max(0, w - 1), w + 2)
        # What lies far below the strongest line is that line's own leakage.
        pool = free[near] & (table.level_db[near] > loudest[near].max() - _LEAK_DB)
        pool_hz, pool_over = (
            table.hz[near][pool].astype(float),
            np.minimum(table.over_db[near][pool], _LINE_CAP_DB) - _NO_LINE_DB,
        )
        if len(pool_hz) < 4:
            continue
        fitted, score, _ = _fit_shaft(pool_hz, pool_over, candidates)
        shaft_share[w] = score
        if score <= 0.25:
            continue
        kk = np.round(table.hz[w] / fitted)
        mine = free[w] & (np.abs(table.hz[w] - kk * fitted) < 0.2 + 0.005 * kk) & (kk >= 1)
        lines = len(np.unique(kk[mine]))
        if lines >= 3:
            shaft_hz[w], shaft_n[w] = fitted, lines
            shaft_db[w] = 10 * np.log10(np.sum(power[w][mine]))
    poles = None
    if mains.hz and np.isfinite(shaft_hz).any():
        poles = poles_of(float(np.nanmedian(shaft_hz)), measured or mains.hz)
    return CombTracks(
        even_db,
        odd_db,
        even_n,
        odd_n,
        even_high_n,
        even_over,
        odd_over,
        line_hz,
        shaft_hz,
        shaft_n,
        shaft_share,
        shaft_db,
        poles,
    )
