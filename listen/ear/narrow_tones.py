"""Squeals, honks and beeps: a narrow peak that stands for some time at one pitch."""

from __future__ import annotations

import numpy as np

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.steps import runs
from listen.features.collect import BANDS_K, DEEP_BINS, DEEP_HZ, ClipFeatures
from listen.spectra import CELL_S

#: Height over its neighbours from which a peak is a tone, and for how many cells at least.
_TONE_DB, _TONE_CELLS = 16.0, 2
#: A controller's beep (common practice: 2 to 4.5 kHz, 50 to 500 ms, repeated) and how far its pitch may stray, octaves.
_BEEP_HZ, _BEEP_WANDER, _BEEP_STEADY = (1800.0, 5000.0), 0.03, 0.7
#: It rises and falls at once; pulses no further apart are one signal; one alone is plainer and longer.
_PULSE_DB, _PULSE_S, _SIGNAL_GAP_S, _ALONE_DB, _ALONE_S = 8.0, 0.6, 1.6, 22.0, 0.12
_SQUEAL_HZ, _SQUEAL_WANDER, _SQUEAL_S = (750.0, 6500.0), 0.12, 0.4
#: For that percentage of its time the lowest harmonic that counts stands highest.
_FOR_LONG = 20
#: Ratios at which a tone's harmonics stand to each other, and what share of it must lie at one of them.
_HARMONICS, _AT_PITCH = (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0, 4.0, 5.0, 6.0), 0.85
#: How far it stands over its neighbours when short, and when it lasts so long, dB and s.
_PLAIN_DB, _LASTING_DB, _LASTING_S = 28.0, 20.0, 1.0
#: Lines of coils stand at these rates' multiples, known so well, Hz; a low tone is looked for so near to its coarse pitch.
_MAINS_HZ, _LINE_WITHIN_HZ, _NEAR_HZ = (50.0, 60.0), 5.0, 20.0
#: How many signals back a pulse may belong: the work must not grow with the clip.
_SIGNALS_BACK = 8


def hear_narrow_tones(levels: LevelTracks) -> list[Draft]:
    """Name the narrow tones of a clip."""
    features = levels.features
    octave = np.log2(np.maximum(features.tone_hz, 1.0))
    drafts: list[Draft] = []
    pulses: list[Draft] = []
    for first, stop in runs(features.tone_db > _TONE_DB, gap=1):
        if stop - first < _TONE_CELLS:
            continue
        hz = float(2 ** np.median(octave[first:stop]))
        measures = {"tone_hz": hz, "level_db": float(np.median(features.tone_db[first:stop]))}
        # A piezo's third harmonic is at times the stronger one.
        pitch = np.where(
            octave[first:stop] > np.log2(_BEEP_HZ[1]), octave[first:stop] - np.log2(3), octave[first:stop]
        )
        steady = np.abs(pitch - np.median(pitch)) < _BEEP_WANDER
        beep_hz = float(2 ** np.median(pitch))
        if _BEEP_HZ[0] <= beep_hz <= _BEEP_HZ[1] and steady.mean() >= _BEEP_STEADY:
            mine = _pulses(levels, beep_hz, first, stop)
            pulses += [
                Draft("beep", a * CELL_S, b * CELL_S, 0.6, {**measures, "tone_hz": beep_hz}) for a, b in mine
            ]
            if mine:
                continue
        lasting = _at_one_pitch(octave, first, stop)
        if lasting is None:
            continue
        start, end, hz = lasting
        measures = {"tone_hz": hz, "level_db": float(np.median(features.tone_db[start:end]))}
        if hz < _SQUEAL_HZ[0]:
            measures["tone_hz"] = hz = _finer(features, hz, start, end)
        word = _lasting_word(hz, measures["level_db"], (end - start) * CELL_S)
        if word is not None:
            drafts.append(
                Draft(
                    word, start * CELL_S, end * CELL_S, 0.6, measures,
                    start == 0, end >= len(features.tone_db),
                )
            )  # fmt: skip
    return drafts + _signals(pulses)


def _finer(features: ClipFeatures, hz: float, start: int, end: int) -> float:
    """Pitch of a low tone from the narrow bins, Hz."""
    bins = np.arange(
        max(1, round((hz - _NEAR_HZ) / DEEP_HZ)), min(DEEP_BINS, round((hz + _NEAR_HZ) / DEEP_HZ) + 1)
    )
    if not len(bins):
        return hz
    return float(bins[int(np.argmax(features.deep[start:end, bins].mean(axis=0)))] * DEEP_HZ)


def _lasting_word(hz: float, level_db: float, lasts_s: float) -> str | None:
    """Name a tone that stays: a squeal, a valve's honk, or none."""
    plain = level_db >= _PLAIN_DB or (level_db >= _LASTING_DB and lasts_s >= _LASTING_S)
    if plain and _SQUEAL_HZ[0] <= hz <= _SQUEAL_HZ[1]:
        return "squeal"
    # Lower tones are mostly lines of motors and voices: only what is plain, lasts and is no line of the mains.
    lines = np.array(_MAINS_HZ) * np.round(hz / np.array(_MAINS_HZ))
    of_the_mains = bool((np.abs(lines - hz) < _LINE_WITHIN_HZ).any())
    if hz < _SQUEAL_HZ[0] and level_db >= _PLAIN_DB and lasts_s >= _LASTING_S and not of_the_mains:
        return "honk"
    return None


def _at_one_pitch(octave: np.ndarray, first: int, stop: int) -> tuple[int, int, float] | None:
    """Return (first, stop, Hz) of the stretch that keeps one pitch, or whose harmonics take turns to stand highest."""
    base = float(np.median(octave[first:stop]))
    apart = octave[first:stop, None] - base - np.log2(_HARMONICS)[None, :]
    mine = np.flatnonzero(np.abs(apart).min(axis=1) < _SQUEAL_WANDER)
    if not len(mine) or (mine[-1] + 1 - mine[0]) * CELL_S < _SQUEAL_S:
        return None
    if len(mine) < _AT_PITCH * (mine[-1] + 1 - mine[0]) or len(mine) < _AT_PITCH * (stop - first):
        return None
    # The lowest of them that stands highest for long is the tone.
    own = octave[first:stop][mine]
    low = float(np.median(own[np.abs(own - np.percentile(own, _FOR_LONG, method="lower")) < _SQUEAL_WANDER]))
    return first + int(mine[0]), first + int(mine[-1]) + 1, 2**low


def _pulses(levels: LevelTracks, hz: float, first: int, stop: int) -> list[tuple[int, int]]:
    """Cells of a tone that is switched on and off, each time for a moment; none if it rings or fades."""
    level = levels.features.bands_db[
        :, int(np.argmin(np.abs(np.array(BANDS_K) - 10 * np.log10(hz / 1000.0))))
    ]
    peak = float(level[first:stop].max())
    mine = []
    for start, end in runs(level[first:stop] > peak - _PULSE_DB):
        start, end = start + first, end + first
        # What rings falls by a few decibels a cell.
        before, after = level[max(0, start - 2) : start], level[end : end + 2]
        sharp = all(len(side) and float(side.min()) < peak - 1.6 * _PULSE_DB for side in (before, after))
        if sharp and (end - start) * CELL_S <= _PULSE_S:
            mine.append((start, end))
    return mine


def _signals(pulses: list[Draft]) -> list[Draft]:
    """Join pulses of one pitch to one signal; one alone must be plain, and none beside it of another pitch."""
    out: list[Draft] = []
    counts: list[int] = []
    for pulse in sorted(pulses, key=lambda d: d.onset_s):
        at = next(
            (
                n for n in range(len(out) - 1, max(-1, len(out) - 1 - _SIGNALS_BACK), -1)
                if pulse.onset_s - out[n].offset_s <= _SIGNAL_GAP_S
                and _at_pitch_of(pulse, out[n])
            ),
            None,
        )  # fmt: skip
        if at is None:
            out.append(pulse)
            counts.append(1)
        else:
            out[at].offset_s = pulse.offset_s
            counts[at] += 1
    plain = [
        d
        for d, n in zip(out, counts, strict=True)
        if n == 1 and d.measures["level_db"] >= _ALONE_DB and d.duration_s >= _ALONE_S
    ]
    # A controller has one pitch; several, each heard once, are crockery that rings.
    alone = plain if all(_at_pitch_of(d, plain[0]) for d in plain) else []
    return [d for d, n in zip(out, counts, strict=True) if n >= 2 or d in alone]


def _at_pitch_of(pulse: Draft, other: Draft) -> bool:
    return bool(abs(np.log2(pulse.measures["tone_hz"] / other.measures["tone_hz"])) < _BEEP_WANDER)
