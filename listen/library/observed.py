"""What one clip shows of its machine in one operating state: levels, lines, durations, counts, sounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from listen.bench import Machine
from listen.bench.knowledge import load_knowledge
from listen.bench.story import spans_from_marks
from listen.features.collect import BANDS_K
from listen.library.records import ClipRecord
from listen.spectra import CELL_S
from listen.vocabulary import NOT_MACHINE

#: Middles of the bands of the traces, Hz.
MIDS_HZ = 1000.0 * 10 ** (np.array(BANDS_K) / 10)
#: Sounds that are counted; the others last and are timed.
COUNTED: frozenset[str] = frozenset({"click", "thump", "bang", "burst"})
#: Measures that are frequencies of the machine's own, by sound.
LINES: Mapping[str, str] = {
    "mains_hum": "line_hz",
    "mains_buzz": "line_hz",
    "motor_run": "shaft_hz",
    "stroke_train": "strokes_hz",
    "squeal": "tone_hz",
    "honk": "tone_hz",
    "beep": "tone_hz",
}
#: From this probability on a sound counts as heard here.
HEARD_FROM = 0.6


@dataclass(frozen=True, slots=True)
class Observed:
    """One clip in one state.

    Attributes
    ----------
    clip : ClipRecord
    length_s : float
        How long the state lasts in the clip.
    bands_db : np.ndarray [shape=(len(MIDS_HZ),)]
        Mean level of each third octave; not a number where the clip carries none.
    lines_hz : mapping
        Sound to the frequency of its strongest event.
    durations_s, counts : mapping
        Sound to its total length, or its number.
    sounds : frozenset of str
    blocked : frozenset of str
        Sounds that this clip could not have carried; "*" for all.
    open_ended : frozenset of str
        Lasting sounds that were cut off by the clip's own ends: their length says nothing.
    levels_db : mapping
        Sound with a pitch to how far its longest stretch stands out of what is around it.
    """

    clip: ClipRecord
    length_s: float
    bands_db: np.ndarray
    lines_hz: Mapping[str, float]
    durations_s: Mapping[str, float]
    counts: Mapping[str, int]
    sounds: frozenset[str]
    blocked: frozenset[str]
    open_ended: frozenset[str] = field(default=frozenset())
    levels_db: Mapping[str, float] = field(default_factory=dict)


def spans_of(clip: ClipRecord, machine: Machine, state: str) -> list[tuple[float, float]]:
    """Return the spans in which a person says that a state held; a drafted state proves nothing here."""
    spans = spans_from_marks(
        clip.story, duration_s=clip.duration_s, machine=machine, knowledge=load_knowledge()
    )
    return [
        (s.start_s, s.end_s)
        for s in spans
        if s.state == state and s.source == "given" and s.end_s > s.start_s
    ]


def states_of(clip: ClipRecord, machine: Machine) -> tuple[str, ...]:
    """Return the states that a person says a clip shows, in order."""
    spans = spans_from_marks(
        clip.story, duration_s=clip.duration_s, machine=machine, knowledge=load_knowledge()
    )
    return tuple(dict.fromkeys(s.state for s in spans if s.source == "given"))


def observe(
    clip: ClipRecord, spans: Sequence[tuple[float, float]], traces_db: np.ndarray, report: Mapping[str, Any]
) -> Observed:
    """Measure one clip over some spans.

    Parameters
    ----------
    clip : ClipRecord
    spans : sequence of (start_s, end_s)
    traces_db : np.ndarray [shape=(cells, len(MIDS_HZ))]
    report : mapping
        The tool's report on the clip: its events and limits.
    """
    counts: dict[str, int] = {}
    durations: dict[str, float] = {}
    lines: dict[str, tuple[float, float]] = {}
    levels: dict[str, float] = {}
    sounds, cut = set(), set()
    for event in report.get("events", ()):
        sound = str(event["sound"])
        onset, offset = float(event["onset_s"]), float(event["offset_s"])
        shared = sum(max(0.0, min(offset, end) - max(onset, start)) for start, end in spans)
        inside = any(start <= onset < end for start, end in spans)
        if event["probability"] < HEARD_FROM or sound in NOT_MACHINE or not (inside or shared > 0.25):
            continue
        sounds.add(sound)
        if sound in COUNTED:
            counts[sound] = counts.get(sound, 0) + int(inside)
            continue
        durations[sound] = durations.get(sound, 0.0) + shared
        if event.get("open_start") or event.get("open_end"):
            cut.add(sound)
        hz = event.get("measures", {}).get(LINES.get(sound, ""))
        if hz is not None and shared > lines.get(sound, (0.0, 0.0))[1]:
            lines[sound] = (float(hz), shared)
            if (level_db := event["measures"].get("level_db")) is not None:
                levels[sound] = float(level_db)
    return Observed(
        clip, sum(end - start for start, end in spans), _bands(clip, spans, traces_db),
        {sound: hz for sound, (hz, _) in lines.items()}, durations, counts, frozenset(sounds), _blocked(report),
        frozenset(cut), levels,
    )  # fmt: skip


def _bands(clip: ClipRecord, spans: Sequence[tuple[float, float]], traces_db: np.ndarray) -> np.ndarray:
    times = (np.arange(len(traces_db)) + 0.375) * CELL_S
    chosen = np.zeros(len(traces_db), bool)
    for start, end in spans:
        chosen |= (times >= start) & (times < end)
    carried = (max(clip.band_hz[0], 60.0) <= MIDS_HZ) & (0.9 * clip.band_hz[1] >= MIDS_HZ)
    if not chosen.any():
        return np.full(len(MIDS_HZ), np.nan)
    mean_db = 10 * np.log10(np.mean(10 ** (traces_db[chosen].astype(np.float64) / 10), axis=0))
    return np.where(carried, mean_db, np.nan)


def _blocked(report: Mapping[str, Any]) -> frozenset[str]:
    quality = report.get("quality", {})
    if not quality.get("usable", False):
        return frozenset({"*"})
    return frozenset(word for limit in quality.get("limits", ()) for word in limit.get("blocks", ()))
