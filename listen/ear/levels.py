"""Levels of a clip in ranges of frequency, each computed once however many sounds ask for it."""

from __future__ import annotations

import numpy as np

from listen.features.collect import BANDS_K, ClipFeatures

#: How far to both sides of a sound its surroundings reach, s.
_AROUND_S = 30.0
_LONG_AROUND_S = 60.0
#: How far before a sound, what of its edges is left out, s, and how many cells are too few to compare.
_BEFORE_S, _EDGE_S, _FEW = 3.0, 0.15, 3
#: Where the strokes of valves and relays lie (common practice), Hz.
_STROKES_HZ = (800.0, 8000.0)
#: Where a discharge stands furthest over a pump (scenes of both generators), Hz.
_DISCHARGE_HZ = (2000.0, 6500.0)
#: What of a pump's run is left out at its start and its end, s, and the percentile that is its own level.
_RUN_FROM_S, _RUN_TO_S, _LOW = 0.4, 0.3, 25
#: Where behind a pump's end a discharge begins, and where it is over, s.
_DISCHARGE_FROM_S, _DISCHARGE_TO_S, _QUIET_FROM_S = -0.15, 1.0, 1.3
#: A pump that stands nowhere as much over what was there before and after it, dB, is no measure.
_OVER_QUIET_DB = 3.0
#: Cells over which a discharge lasts at the least; the strokes of valves and knocks are over sooner.
_LASTING = 4

#: Cells of about a second, and how many third octaves what joins a clip raises at the least.
_SECOND, _RAISED = 16, 4


class LevelTracks:
    """Tracks of a clip, kept by range; looks at a sound cost what the sound lasts, not what the clip lasts.

    Parameters
    ----------
    features : ClipFeatures
    """

    def __init__(self, features: ClipFeatures) -> None:
        self.features = features
        self._times_s = features.times_s
        self._bands: dict[tuple[float, float], np.ndarray] = {}
        self._levels: dict[tuple[float, float], np.ndarray] = {}
        self._quiet: dict[tuple[float, float], float] = {}

    def bands(self, low_hz: float, high_hz: float) -> np.ndarray:
        """Third octaves whose middle lies in a range [shape=(t, bands)], dB."""
        key = (low_hz, high_hz)
        if key not in self._bands:
            mids = 1000.0 * 10 ** (np.array(BANDS_K) / 10)
            self._bands[key] = self.features.bands_db[:, (mids >= low_hz) & (mids <= high_hz)]
        return self._bands[key]

    def level_db(self, low_hz: float, high_hz: float) -> np.ndarray:
        """Level in a range [shape=(t,)], dB."""
        key = (low_hz, high_hz)
        if key not in self._levels:
            self._levels[key] = self.features.band_db(low_hz, high_hz)
        return self._levels[key]

    def between(self, start_s: float, stop_s: float) -> slice:
        """Cells whose middle lies in [start, stop)."""
        first, last = np.searchsorted(self._times_s, [start_s, stop_s])
        return slice(int(first), int(last))

    def floor_outside(self, low_hz: float, high_hz: float, onset_s: float, offset_s: float) -> float:
        """Level of the quiet around a sound, or the clip's low percentile where it fills the clip."""
        level = self.level_db(low_hz, high_hz)
        before, after = self._around(onset_s - 0.1, offset_s + 0.15, _AROUND_S)
        near = np.concatenate([level[before], level[after]])
        if len(near) >= 6:
            return float(np.percentile(near, 25))
        key = (low_hz, high_hz)
        if key not in self._quiet:
            self._quiet[key] = float(np.percentile(level, 5))
        return self._quiet[key]

    def over_quiet_db(self, low_hz: float, high_hz: float, onset_s: float, offset_s: float) -> float:
        """How far a sound stands over the quietest second that each third octave has in a minute to both sides, in the
        fourth of those in which it stands highest, dB (nan where there is nothing to compare).

        What joins voices or music that were there before raises some of them only; the clip's own floor raises none.
        """
        bands = self.bands(low_hz, high_hz)
        inside = self.between(onset_s, offset_s)
        parts = [bands[side] for side in self._around(onset_s, offset_s, _LONG_AROUND_S)]
        parts = [part for part in parts if len(part) >= _SECOND]
        if not parts or inside.stop <= inside.start or bands.shape[1] < _RAISED:
            return float("nan")
        quiet_db = [
            np.median(np.lib.stride_tricks.sliding_window_view(part, _SECOND, axis=0), axis=2).min(axis=0)
            for part in parts
        ]
        over_db = np.median(bands[inside], axis=0) - np.min(quiet_db, axis=0)
        return float(np.sort(over_db)[-_RAISED])

    def fall_db(self, low_hz: float, high_hz: float, onset_s: float, offset_s: float) -> float:
        """How far the level falls in two seconds where a sound ends, dB (nan where the clip ends)."""
        level = self.level_db(low_hz, high_hz)
        before = level[self.between(max(onset_s, offset_s - 2.0), offset_s)]
        after = level[self.between(offset_s, offset_s + 2.0)]
        if len(before) < _FEW or len(after) < _FEW:
            return float("nan")
        return float(np.median(before) - np.median(after))

    def ragged_db(self, start_s: float, stop_s: float) -> float:
        """How much the level above 1 kHz changes from each 16 ms to the next, dB (0 where there is too little)."""
        frames = self.features.envelope_db[self.between(start_s, stop_s)].reshape(-1)
        return float(np.std(np.diff(frames))) if len(frames) > 2 * _FEW else 0.0

    def over_outside(self, low_hz: float, high_hz: float, onset_s: float, offset_s: float) -> float:
        """Median level while a sound lasts over that of a minute to both sides, dB (0 when it fills the clip)."""
        level = self.level_db(low_hz, high_hz)
        inside = self.between(onset_s, offset_s)
        before, after = self._around(onset_s, offset_s, _LONG_AROUND_S)
        outside = np.concatenate([level[before], level[after]])
        if inside.stop <= inside.start or not len(outside):
            return 0.0
        return float(np.median(level[inside]) - np.median(outside))

    def stands_db(self, onset_s: float, offset_s: float) -> float:
        """How far a sound stands over the seconds before it where strokes lie, in the third octave in which it
        stands highest there, dB (nan where there is nothing to compare)."""
        inside = self.between(onset_s + _EDGE_S, offset_s - _EDGE_S)
        before = self.between(onset_s - _BEFORE_S, onset_s - _EDGE_S)
        if inside.stop - inside.start < _FEW or before.stop - before.start < _FEW:
            return float("nan")
        bands = self.bands(*_STROKES_HZ)
        return float((np.median(bands[inside], axis=0) - np.median(bands[before], axis=0)).max())

    def after_db(self, onset_s: float, offset_s: float) -> float:
        """How far the loudest moment of the second behind a pump's end stands, in the range of a discharge, over the
        pump itself in the third octave in which that is strongest, dB (nan where it stands out of none, or the clip ends)."""
        bands = self.bands(*_STROKES_HZ)
        run = bands[self.between(onset_s + _RUN_FROM_S, offset_s - _RUN_TO_S)]
        before = bands[self.between(onset_s - _BEFORE_S, onset_s - _RUN_TO_S)]
        later = bands[self.between(offset_s + _QUIET_FROM_S, offset_s + _QUIET_FROM_S + _BEFORE_S)]
        behind = self.between(offset_s + _DISCHARGE_FROM_S, offset_s + _DISCHARGE_TO_S)
        quiet = [np.percentile(part, _LOW, axis=0) for part in (before, later) if len(part) >= _FEW]
        if len(run) < _FEW or not quiet or behind.stop >= len(bands):
            return float("nan")
        pump_db, quiet_db = np.percentile(run, _LOW, axis=0), np.max(quiet, axis=0)
        stands = pump_db >= quiet_db + _OVER_QUIET_DB
        if not stands.any():
            return float("nan")
        # What was there before lies under the pump as well: its own level is what remains.
        own_db = 10 * np.log10(10 ** (pump_db[stands] / 10) - 10 ** (quiet_db[stands] / 10))
        return float(self.level_db(*_DISCHARGE_HZ)[behind].max() - own_db.max())

    def behind_db(self, onset_s: float, offset_s: float) -> float:
        """How far the loudest quarter of a second behind a pump's end stands, in the range of a discharge, over the
        seconds before and after the pump, dB (nan where there is nothing to compare, or the clip ends)."""
        level = self.level_db(*_DISCHARGE_HZ)
        behind = self.between(offset_s + _DISCHARGE_FROM_S, offset_s + _DISCHARGE_TO_S)
        before = level[self.between(onset_s - _BEFORE_S, onset_s - _RUN_TO_S)]
        later = level[self.between(offset_s + _QUIET_FROM_S, offset_s + _QUIET_FROM_S + _BEFORE_S)]
        quiet_db = [float(np.median(part)) for part in (before, later) if len(part) >= _FEW]
        if not quiet_db or behind.stop - behind.start < _LASTING or behind.stop >= len(level):
            return float("nan")
        lasting = np.median(np.lib.stride_tricks.sliding_window_view(level[behind], _LASTING), axis=1)
        return float(lasting.max()) - max(quiet_db)

    def _around(self, start_s: float, stop_s: float, reach_s: float) -> tuple[slice, slice]:
        return self.between(start_s - reach_s, start_s), self.between(stop_s, stop_s + reach_s)
