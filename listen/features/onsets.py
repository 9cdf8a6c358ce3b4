"""Find sharp onsets on the one-millisecond envelope, whatever stretch they fall in.

Conventions
-----------
An onset is where the power of the last 2 ms stands above everything in the
20 ms before it, in two of three broad bands or far in one, or in the mean of
eight narrow bands, each held against what it was just before: a stroke may
stand out in a few hundred hertz alone. Whether it is a click (power
falls back at once) or the start of something that stays (a jet, a pump) is
told by what follows. All looks are local, so that the result does not depend on
where a block ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.spectra import ENVELOPE_BINS, ENVELOPE_S, to_db

#: Edges of the patch's bins in ms from the onset, finer where a stroke and its echoes tell apart.
_PATCH_EDGES = np.array([-40, -20, -10, -4, 0, 1, 2, 3, 4, 6, 9, 13, 19, 28, 42, 62, 92, 136])
_PATCH_RANGE_DB = (-6.0, 40.0)
_N_BANDS = len(ENVELOPE_BINS)
#: Narrow bands of the three broad ones.
_BROAD = ((0, 2), (2, 5), (5, 8))
_PATCH_NAMES = tuple(
    f"patch_{band}_{edge}_ms_db".replace("-", "before_")
    for band in range(_N_BANDS)
    for edge in _PATCH_EDGES[:-1]
)
_SHAPE_NAMES = tuple(f"{what}_{band}_db" for what in ("floor", "stroke") for band in range(_N_BANDS))
#: The ordered measurements of one onset; a row of :class:`OnsetTable`.
ONSET_NAMES = (
    "time_s", "rise_db", "rise_low_db", "rise_mid_db", "rise_high_db", "peak_db", "decay_ms",
    "fall_25_db", "fall_100_db", "attack_ms", "before_spread_db", "centroid_hz", "after_count",
    "stay_db", "fall_8_db", "step_db", "lift_db", *_SHAPE_NAMES, *_PATCH_NAMES, "near_count", "gap_before_s", "gap_after_s",
    "around_count", "around_lead_db", "around_colour_octaves",
)  # fmt: skip

#: What a model is given: neither the place in the clip nor the absolute level.
ONSET_INPUTS = tuple(name for name in ONSET_NAMES if name not in ("time_s", "peak_db"))
_INPUT_COLUMNS = [ONSET_NAMES.index(name) for name in ONSET_INPUTS]

_PATCH_COLUMNS = [ONSET_NAMES.index(name) for name in _PATCH_NAMES]
#: First bin of the patch after the onset, and the bands that tell how high a stroke stands.
_PATCH_STRUCK, _HIGHEST = int(np.flatnonzero(_PATCH_EDGES == 0)[0]), 3
_BAND_CENTRE_HZ = np.array([1000.0, 3500.0, 10000.0])
_BEFORE = (4, 24)
_LOOK_BACK = 80
#: What is kept of the past: floors of the milliseconds that an onset looks back on.
_KEEP = _LOOK_BACK + 64
_LOOK_AHEAD = 160
_REFRACTORY = 12
_CONTEXT = 6
_AROUND_S = 3.0
_ALONE_DB = 30.0
_LONGEST_GAP_S = 2.0
#: Low enough that the model sees nearly every stroke; the plainer limits say what stands out by itself.
_RISE_DB, _RISE_SUM_DB, _RISE_ALONE_DB = 4.0, 10.5, 7.5
_PLAIN_SUM_DB, _PLAIN_ALONE_DB = 13.5, 9.0
#: Rise of the mean of the narrow bands, each over its own floor: the power from 64 to 5 ms before.
_LIFT_DB = 4.0
_FLOOR_MS = (64, 5)
#: A band this far below all others together holds nothing that could be heard.
_DEAF = 1e-4
_LIFT_CAP = 1e4


@dataclass(frozen=True, slots=True)
class OnsetTable:
    """Onsets of a clip: `rows` [shape=(k, len(ONSET_NAMES))], ordered in time."""

    rows: np.ndarray

    def column(self, name: str) -> np.ndarray:
        """Return one measurement of all onsets [shape=(k,)]."""
        return self.rows[:, ONSET_NAMES.index(name)]

    def inputs(self) -> np.ndarray:
        """Return what a model is given of each onset [shape=(k, len(ONSET_INPUTS))]."""
        return self.rows[:, _INPUT_COLUMNS]

    def height_db(self, row: int) -> float:
        """How far the first tenth of a second stands over its floor where it stands highest, dB (40 at the most).

        What is struck and rings on grows for some milliseconds: `rise_db` sees only the first of them.
        """
        patch = self.rows[row, _PATCH_COLUMNS].reshape(_N_BANDS, -1)[:, _PATCH_STRUCK:]
        return float(np.sort(patch.max(axis=1))[-_HIGHEST:].mean())

    def plain(self) -> np.ndarray:
        """True where an onset stands out by itself, without a model [shape=(k,)]."""
        rises = np.column_stack([self.column(f"rise_{band}_db") for band in ("low", "mid", "high")])
        return (rises.sum(axis=1) > _PLAIN_SUM_DB) | (rises.max(axis=1, initial=0.0) > _PLAIN_ALONE_DB)


def _sliding_max(values: np.ndarray, n: int) -> np.ndarray:
    """Maximum of `values[i - n + 1 : i + 1]` along axis 0, by doubling."""
    out = values.copy()
    span = 1
    while span < n:
        step = min(span, n - span)
        out[step:] = np.maximum(out[step:], out[:-step])
        span += step
    return out


def with_context(rows: np.ndarray) -> np.ndarray:
    """Add what stands around each onset.

    Count within half a second, gaps to its neighbours (at most 2 s), count
    within three seconds, how far it stands above the loudest of those, and how
    much their colours differ: pops of a fire and drops of rain come in crowds of
    all colours, a valve comes alone.
    """
    times = rows[:, 0].astype(np.float64)
    n = len(times)
    near = np.searchsorted(times, times + 0.5, "right") - np.searchsorted(times, times - 0.5, "left") - 1
    gaps = np.minimum(np.diff(times), _LONGEST_GAP_S)
    ends = np.array([_LONGEST_GAP_S])[:n]
    before, after = np.concatenate([ends, gaps]), np.concatenate([gaps, ends])
    first, last = (
        np.searchsorted(times, times - _AROUND_S, "left"),
        np.searchsorted(times, times + _AROUND_S, "right"),
    )
    rise, colour = rows[:, 1], np.log2(np.maximum(rows[:, ONSET_NAMES.index("centroid_hz")], 100.0))
    lead, spread = np.full(n, _ALONE_DB), np.zeros(n)
    for i in range(n):
        others = np.r_[first[i] : i, i + 1 : last[i]]
        # What rings on within a twentieth of a second is the same stroke.
        others = others[np.abs(times[others] - times[i]) > 0.05]
        if len(others):
            lead[i] = np.clip(rise[i] - rise[others].max(), -_ALONE_DB, _ALONE_DB)
            spread[i] = colour[others].std()
    return np.column_stack(
        [rows, near, before, after, np.minimum(last - first - 1, 60), lead, spread]
    ).astype(np.float32)


class OnsetFinder:
    """Collect onsets from envelope chunks."""

    def __init__(self) -> None:
        self._rest = np.zeros((0, _N_BANDS), np.float32)
        self._first = 0  # absolute index of the first row of `_rest`
        self._done = 0  # absolute index up to which onsets were reported
        self._rows: list[np.ndarray] = []
        self._last_onset = self._run_end = -10_000

    def push(self, envelope_power: np.ndarray, *, last: bool = False) -> None:
        """Add envelope rows [shape=(n, len(ENVELOPE_BINS))], power per millisecond."""
        self._rest = np.concatenate([self._rest, envelope_power])
        end = self._first + len(self._rest)
        upto = end if last else end - _LOOK_AHEAD
        if upto <= self._done:
            return
        self._scan(upto)
        self._done = upto
        drop = max(0, upto - _KEEP - self._first)
        self._rest = self._rest[drop:].copy()
        self._first += drop

    def table(self) -> OnsetTable:
        """Return all onsets so far, each with what stands around it."""
        rows = (
            np.concatenate(self._rows)
            if self._rows
            else np.zeros((0, len(ONSET_NAMES) - _CONTEXT), np.float32)
        )
        return OnsetTable(with_context(rows))

    def _scan(self, upto: int) -> None:
        narrow = np.maximum(self._rest, 1e-10)
        db = to_db(np.stack([narrow[:, a:b].sum(axis=1) for a, b in _BROAD], axis=1))
        total = to_db(narrow.sum(axis=1))
        floor = _floors(narrow)
        lift = 10 * np.log10(np.minimum(narrow / floor, _LIFT_CAP).mean(axis=1, keepdims=True))
        novelty = _novelty(np.concatenate([db, lift], axis=1))
        if self._first == 0:
            novelty[: _BEFORE[1]] = 0.0  # nothing is known of what was before the clip
        positive, lifted = np.maximum(novelty[:, :3], 0.0), novelty[:, 3]
        # Beside a motor or a hiss a click may stand out in one band alone.
        strong = (
            ((positive > _RISE_DB).sum(axis=1) >= 2) & (positive.sum(axis=1) > _RISE_SUM_DB)
            | (positive.max(axis=1) > _RISE_ALONE_DB)
            # A floor that sinks because a stroke has left it is no rise.
            | (np.minimum(lifted, lift[:, 0]) > _LIFT_DB)
        )
        candidates = np.flatnonzero(strong)
        candidates = candidates[candidates + self._first >= max(self._done, self._run_end + 1)]
        begun = int(np.searchsorted(candidates, upto - self._first))
        rows = []
        i = 0
        while i < begun:
            first = candidates[i]
            j = i
            while j + 1 < len(candidates) and candidates[j + 1] - candidates[j] <= 4:
                j += 1
            i = j + 1
            self._run_end = int(candidates[j] + self._first)
            if first + self._first - self._last_onset < _REFRACTORY:
                continue
            self._last_onset = int(first + self._first)
            stop = min(len(db), int(candidates[j]) + 4)
            rows.append([
                (self._first + first) * ENVELOPE_S, *_measure(db, total, positive, int(first), stop),
                float(lifted[first:stop].max()), *_patch(narrow, floor[first], int(first), stop),
            ])  # fmt: skip
        if rows:
            self._rows.append(np.array(rows, np.float32))


def _floors(narrow: np.ndarray) -> np.ndarray:
    """Mean power of each band a moment before each millisecond [shape like input]."""
    back, skip = _FLOOR_MS
    sums = np.concatenate([np.zeros((1, narrow.shape[1])), np.cumsum(narrow, axis=0, dtype=np.float64)])
    at = np.arange(len(narrow))
    start, stop = np.maximum(at - back, 0), np.maximum(at - skip + 1, 1)
    floor = (sums[stop] - sums[start]) / np.maximum(stop - start, 1)[:, None]
    return np.maximum(floor, _DEAF * floor.sum(axis=1, keepdims=True))


def _novelty(db: np.ndarray) -> np.ndarray:
    """How far each value stands over all that was in the 20 ms before."""
    before_max = _sliding_max(db, _BEFORE[1] - _BEFORE[0])
    novelty = np.zeros_like(db)
    novelty[_BEFORE[0] :] = db[_BEFORE[0] :] - before_max[: -_BEFORE[0]]
    return novelty


def _patch(narrow: np.ndarray, floor: np.ndarray, first: int, stop: int) -> list[float]:
    """Each narrow band around an onset over its own floor, and how floor and stroke share out over the bands."""
    # Before the clip, and after its end, nothing is known: what stands nearest is repeated.
    at = np.clip(first + np.arange(_PATCH_EDGES[0], _PATCH_EDGES[-1]), 0, len(narrow) - 1)
    power = np.add.reduceat(narrow[at], _PATCH_EDGES[:-1] - _PATCH_EDGES[0], axis=0)
    over = 10 * np.log10(power / np.diff(_PATCH_EDGES)[:, None] / floor)
    stroke = np.maximum(narrow[first:stop].max(axis=0) - floor, 1e-3 * floor)
    shares = [10 * np.log10(x / x.sum()) for x in (floor, stroke)]
    return np.concatenate([*np.maximum(shares, -50.0), np.clip(over.T.ravel(), *_PATCH_RANGE_DB)]).tolist()


def _measure(db: np.ndarray, total: np.ndarray, positive: np.ndarray, first: int, stop: int) -> list[float]:
    """The measurements from `rise_db` to `step_db` of one onset, from the broad bands."""
    n = len(db)
    peak_at = first + int(np.argmax(total[first:stop]))
    before = total[max(0, first - _LOOK_BACK) : max(1, first - 2)]
    floor = float(np.median(before)) if len(before) else -100.0
    rise = positive[first:stop].max(axis=0)
    peak_db = float(total[peak_at])
    height = peak_db - floor
    after = total[peak_at : min(n, peak_at + _LOOK_AHEAD)]
    # Smoothed by 5 ms: a ringing part must not end its own decay early.
    smooth = np.convolve(after, np.ones(5) / 5, mode="valid") if len(after) >= 5 else after
    half = max(6.0, 0.5 * height)
    below = np.flatnonzero(smooth < peak_db - half)
    decay_ms = float(below[0] + 2) if len(below) else float(_LOOK_AHEAD)
    fall_25 = peak_db - float(np.mean(after[20:30])) if len(after) >= 30 else height
    fall_100 = peak_db - float(np.mean(after[80:120])) if len(after) >= 120 else height
    # A click that starts a pump at once: the first hundredth of a second still falls.
    fall_8 = peak_db - float(np.mean(after[6:10])) if len(after) >= 10 else height
    step = float(np.mean(after[10:40])) - floor if len(after) >= 40 else 0.0
    stay = float(np.mean(after[100:150])) - floor if len(after) >= 150 else 0.0
    band_power = 10 ** (db[peak_at] / 10) - 10 ** (
        np.median(db[max(0, first - 40) : max(1, first - 2)], axis=0) / 10
    )
    band_power = np.maximum(band_power, 1e-12)
    centroid = float(np.sum(band_power * _BAND_CENTRE_HZ) / np.sum(band_power))
    spread = float(np.percentile(before, 90) - np.percentile(before, 10)) if len(before) > 5 else 0.0
    again = positive[min(n, peak_at + _REFRACTORY) : min(n, peak_at + _LOOK_AHEAD)].sum(axis=1)
    after_count = float(np.sum(np.diff((again > _PLAIN_SUM_DB).astype(int)) > 0)) if len(again) > 1 else 0.0
    return [
        height, *rise.tolist(), peak_db, decay_ms,
        fall_25, fall_100, float(peak_at - first + 1), spread, centroid, after_count, stay, fall_8, step,
    ]  # fmt: skip
