"""Whether real hums and motors are told rightly as locked to the mains or slipping, or left open.

Transformers hum at whole multiples of the mains and never slip (magnetostriction; common
practice), and a small motor under load gives its lines there too, by the sources' own notes: to say
*slipping* (`motor_run`) of either is wrong, unless another thing in the same clip slips (a
microwave oven turns a fan). That is looked up in an independent measure: peaks of
SciPy's periodogram over the whole clip that are no multiple of the mains and lie at the
orders of one shaft (orders 1 and 2, or any three). An induction motor of a fan slips, and hums
at twice the mains besides (any electrical handbook): *locked* and *slipping* are both right
of it, and only strokes would be wrong. What drives a washing appliance's pump is not known: it
is listed. *Left open*: none of these is said.

Every clip is heard twice, as it is and with a brew on a rotary pump told from its start,
where a locked hum without a turning motor is called a motor that stands still: wrong of every motor that turns. No clip is of
an espresso machine, and no learned part takes part; that one fan's motor was said to stand
still (training fold) was mended by what stood in its clip, a single line off the mains.

    LISTEN_CLIPS=FOLDER python -m tests.measure.slip_stand_ins
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile
from joblib import Parallel, delayed
from scipy import signal

from tests.measure.clips import RealClip, clips_folder, real_clips
from tests.measure.stats import share

LOCKED, SLIPPING, STROKES = frozenset({"mains_hum", "mains_buzz"}), "motor_run", "stroke_train"
STALLED = "stalled_motor"
#: By their sources' places and measured line series: 50 Hz, one recording 60 Hz.
MAINS_HZ, SIXTY = 50.0, "6-83703"
#: The reference: range of peaks, their least height over the running median of so many hertz, and how near is on a multiple.
PEAKS_HZ, OVER_DB, MEDIAN_HZ, ON_HZ = (18.0, 600.0), 14.0, 24.0, 0.35
#: Beside a stronger line a peak within this is its skirt, Hz; slips that are tried (shaded-pole motors slip most: from memory).
SKIRT_HZ, SLIPS = 2.2, np.arange(0.006, 0.2, 0.0005)
#: Orders of a shaft that are looked at, and how much of the lines off the mains they must own.
HIGHEST_ORDER, OWN = 16, 0.5


class Kind(NamedTuple):
    """A kind of stand-in: in words, what of it must not be said, and whether it turns."""

    title: str
    wrong: frozenset[str]
    turns: bool


KINDS = {
    "microwave_hum": Kind("transformers", frozenset({SLIPPING}), turns=False),
    "motor_loaded": Kind("small motors under load", frozenset({SLIPPING}), turns=False),
    "motor_hum": Kind("induction motors of fans", frozenset({STROKES}), turns=True),
    "pump_water_appliance": Kind("pumps of washing appliances", frozenset(), turns=True),
}


class Heard(NamedTuple):
    """What was said of a clip, alone and with a brew told."""

    kind: str
    fold: str
    recording: str
    name: str
    sounds: frozenset[str]
    stalled: bool
    slips: bool

    @property
    def wrong(self) -> bool:
        """Whether something was said that is not so."""
        kind = KINDS[self.kind]
        said_wrongly = self.sounds & kind.wrong - ({SLIPPING} if self.slips else set())
        return bool(said_wrongly) or (kind.turns and self.stalled)


def free_peaks(path: Path, mains_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Peaks that are no multiple of the mains: Hz and dB over their neighbourhood [both shape=(n,)]."""
    samples, rate_hz = soundfile.read(path, always_2d=True)
    hz, power = signal.periodogram(samples.mean(axis=1), rate_hz, window="hann", nfft=1 << 20)
    inside = (hz > PEAKS_HZ[0]) & (hz < PEAKS_HZ[1])
    hz, level_db = hz[inside], 10 * np.log10(power[inside] + 1e-20)
    step_hz = hz[1] - hz[0]
    median_db = signal.medfilt(level_db[::8], int(MEDIAN_HZ / step_hz / 8) | 1)
    over_db = level_db - np.interp(hz, hz[::8], median_db)
    at, _ = signal.find_peaks(over_db, height=OVER_DB, distance=int(0.8 / step_hz))
    hz, over_db = hz[at], over_db[at]
    free = np.abs(hz - np.rint(hz / mains_hz) * mains_hz) > ON_HZ
    skirt = [
        bool(((np.abs(hz - f) < SKIRT_HZ) & (over_db > d + 3.0)).any())
        for f, d in zip(hz, over_db, strict=True)
    ]
    keep = free & ~np.array(skirt, bool)
    return hz[keep], over_db[keep]


def something_slips(path: Path, mains_hz: float) -> bool:
    """Whether the lines off the mains are mostly the orders of one shaft."""
    hz, over_db = free_peaks(path, mains_hz)
    for shaft_hz in (2.0 * mains_hz / poles * (1.0 - slip) for poles in (2, 4, 6) for slip in SLIPS):
        order = np.rint(hz / shaft_hz)
        on = (np.abs(hz - order * shaft_hz) < 0.1 + 0.003 * order) & (order >= 1) & (order <= HIGHEST_ORDER)
        orders = set(order[on].tolist())
        if (len(orders) >= 3 or {1.0, 2.0} <= orders) and over_db[on].sum() >= OWN * over_db.sum():
            return True
    return False


def hear_clip(clip: RealClip) -> Heard:
    """Hear a clip alone and as a brew."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from listen.types import StoryMark

    data = clip.path.read_bytes()
    alone = hear(data, name=clip.path.name)
    told = hear(
        data,
        name=clip.path.name,
        machine=machine_from({"name": "stand-in", "pump": "rotary"}),
        marks=[StoryMark(0.0, "brew")],
    )
    sounds = frozenset(e.sound for e in alone.events)
    # What is left open says so by its level: it may be looked at, and no more.
    stalled = any(f.code == STALLED and f.level != "watch" for f in told.findings)
    slips = something_slips(clip.path, 60.0 if SIXTY in clip.path.name else MAINS_HZ)
    return Heard(clip.kind, clip.fold, clip.recording, clip.path.name, sounds, stalled, slips)


def said(sounds: frozenset[str]) -> str:
    """Put what was heard into one word or two.

    Examples
    --------
    >>> said(frozenset({"motor_run", "mains_hum", "hiss"}))
    'locked and slipping'
    >>> said(frozenset({"hiss"}))
    'left open'
    """
    words = [
        word
        for word, is_so in (
            ("locked", bool(sounds & LOCKED)), ("slipping", SLIPPING in sounds), ("strokes", STROKES in sounds),
        )
        if is_so
    ]  # fmt: skip
    return " and ".join(words) or "left open"


def print_fold(rows: Iterable[Heard], fold: str) -> None:
    """Print one fold by kind, and what was wrong."""
    rows = [r for r in rows if r.fold == fold]
    print(f"{fold} fold: {len(rows)} clips of {len({r.recording for r in rows})} recordings")
    wrong = []
    for name, kind in KINDS.items():
        mine = [r for r in rows if r.kind == name]
        bad = [r for r in mine if r.wrong]
        wrong += bad
        told = ", ".join(f"{what} {n}" for what, n in Counter(said(r.sounds) for r in mine).most_common())
        standing = sum(r.stalled for r in mine)
        slip = sum(r.slips for r in mine)
        print(f"  {kind.title:28} right or left open {len(mine) - len(bad)}/{len(mine)}: {told}; "
              f"something slips by the reference in {slip}; as a brew, said to stand still {standing}")  # fmt: skip
    print(f"  all: right or left open {share(len(rows) - len(wrong), len(rows))}")
    for r in wrong:
        print(f"    wrong: {r.kind} {r.name}: {said(r.sounds)}{', said to stand still' if r.stalled else ''}")


def main() -> None:
    folder = clips_folder()
    if folder is None:
        print("No folder of real clips: set LISTEN_CLIPS.")
        return
    clips = [clip for clip in real_clips(folder) if clip.kind in KINDS]
    rows = Parallel(n_jobs=2, batch_size=2)(delayed(hear_clip)(clip) for clip in clips)
    for fold in ("test", "train"):
        print_fold(rows, fold)


if __name__ == "__main__":
    # By its own name, so that other processes find its types.
    from tests.measure import slip_stand_ins

    slip_stand_ins.main()
