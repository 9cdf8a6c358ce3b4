"""Releases, blasts and jets from where they begin: the model names the beginning, levels give the end."""

from __future__ import annotations

import numpy as np

from listen.ear.bundle import Head
from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.features.starts import Starts
from listen.spectra import CELL_S

#: Calibrated probability from which a beginning is named.
ENTER = {"burst": 0.4, "blast": 0.6, "hiss": 0.6}
#: Range in which a sound is followed to its end, Hz.
RANGE_HZ = {"burst": (1000.0, 10000.0), "blast": (800.0, 14000.0), "hiss": (2000.0, 14000.0)}
_LONGEST_S = {"burst": 3.0}
#: Of words whose beginning is not followed here.
_NEVER = 2.0
#: A release is over this far below its loudest, and any sound this near to what is there without it, dB.
_SPENT_DB, _NEAR_FLOOR_DB = 20.0, 2.0
#: A fall is seen down to this far over what lies under it and below its top, in so many cells at least.
_FALL_OVER_DB, _FALL_DB, _FALL_CELLS = 3.0, 18.0, 4
#: Cells from where a release is spent to where it is told to be.
_BEHIND = 2
#: Cells before a beginning that tell what was there, and cells in which a sound grows to its height.
_BEFORE, _GROWS = 6, 6
_AFTER_S = 4.0


def hear_beginnings(starts: Starts, levels: LevelTracks, head: Head) -> list[Draft]:
    """Name sudden noises by how they begin; `measures` are left to the caller.

    Parameters
    ----------
    starts : Starts
    levels : LevelTracks
        Of the same clip.
    head : Head
        The model's part for starts; its labels are ear words.
    """
    if not len(starts.cells):
        return []
    probability = head.probabilities(starts.values)
    drafts: list[Draft] = []
    for row, cell in enumerate(starts.cells):
        column = int(np.argmax(probability[row]))
        sound, p = head.labels[column], float(probability[row, column])
        if p < ENTER.get(sound, _NEVER):
            continue
        stop = _end(levels, sound, int(cell))
        onset_s, end_s = float(cell * CELL_S), float(stop * CELL_S)
        if drafts and drafts[-1].sound == sound and drafts[-1].offset_s > onset_s:
            # Its own unrest.
            drafts[-1].probability = max(drafts[-1].probability, p)
            continue
        open_end = stop >= len(levels.features.bands_db)
        drafts.append(
            Draft(sound, onset_s, levels.features.duration_s if open_end else end_s, p, {}, False, open_end)
        )
    return drafts


def _end(levels: LevelTracks, sound: str, cell: int) -> int:
    """First cell after a sound: it is spent, or down to what is there without it."""
    level = levels.level_db(*RANGE_HZ[sound])
    longest = round(_LONGEST_S[sound] / CELL_S) if sound in _LONGEST_S else len(level)
    before = float(np.median(level[max(0, cell - _BEFORE) : cell])) if cell else -120.0
    peak = float(level[cell : cell + _GROWS].max())
    if sound in _LONGEST_S:
        # A pump that has just stopped was louder than what is there afterwards.
        after = level[cell : cell + longest + round(_AFTER_S / CELL_S)]
        floor = min(before, float(np.percentile(after, 10)))
        limit = max(floor + _NEAR_FLOOR_DB, peak - _SPENT_DB)
    else:
        limit = before + max(_NEAR_FLOOR_DB, (peak - before) / 3)
    under = level[cell : cell + longest] < limit
    # Two cells in a row: a flutter is no end.
    spent = np.flatnonzero(under[1:] & under[:-1])
    later = spent[spent >= 1]
    end = int(later[0]) if len(later) else min(longest, len(level) - cell)
    if sound in _LONGEST_S:
        # What tells the end lies behind it.
        end = max(1, min(end, _decayed(level[cell : cell + end], floor)) - _BEHIND)
    return cell + end


def _decayed(level_db: np.ndarray, floor_db: float) -> int:
    """Cells until a release is spent by the slope of its fall, seen only as far as it stands out of what lies under it.

    A chamber without supply empties about exponentially, so its noise falls by as many dB each second.
    """
    own_db = 10 * np.log10(np.maximum(10 ** (level_db / 10) - 10 ** (floor_db / 10), 1e-12))
    top = int(np.argmax(own_db[:_GROWS]))
    fall = own_db[top:]
    hidden = np.flatnonzero((level_db[top:] < floor_db + _FALL_OVER_DB) | (fall < fall[0] - _FALL_DB))
    fall = fall[: int(hidden[0])] if len(hidden) else fall
    if len(fall) < _FALL_CELLS:
        return len(level_db)
    slope_db = float(np.polyfit(np.arange(len(fall)), fall, 1)[0])
    return len(level_db) if slope_db >= -0.1 else max(2, top + round(_SPENT_DB / -slope_db))
