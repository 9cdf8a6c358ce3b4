"""The known-good baseline of one machine in one state, and what differs from it.

A baseline needs no training: it is what this very machine did when it was in
good order. It sharpens, and never excuses: a sound that must not be there must
not be there however often it was, so a comparison raises questions and clears
nothing. Before and after a repair is the same comparison.

Conventions
-----------
Levels are compared after the median difference over all bands is taken off: a
phone sets its own gain. A margin is a 95 % prediction interval for one more
good clip. Its spread starts from an assumed one (`ASSUMED`), worth as much as
seven clips, and moves to the measured one as known-good clips come in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from listen.library.comparable import level_reasons, words_for_count
from listen.library.observed import MIDS_HZ, Observed

#: Spread from clip to clip that is assumed before clips show it (no source; to be replaced by measured ones):
#: dB of a third octave, share of a line's frequency, share of a duration.
ASSUMED: Mapping[str, float] = {"band": 2.5, "line": 0.01, "duration": 0.12}
_ASSUMED_DF = 6
#: Two-sided 95 % quantiles of Student's t by degrees of freedom (checked against scipy in the tests).
_T95 = {
    6: 2.447, 7: 2.365, 8: 2.306, 9: 2.262, 10: 2.228, 11: 2.201, 12: 2.179, 13: 2.160, 14: 2.145, 15: 2.131,
    16: 2.120, 17: 2.110, 18: 2.101, 19: 2.093, 20: 2.086, 25: 2.060, 30: 2.042, 40: 2.021, 60: 2.000, 120: 1.980,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as it was.

    Attributes
    ----------
    what : {"level", "line", "duration", "count", "new", "vanished"}
    text : str
        One sentence for a technician.
    value, usual, margin : float
        In `unit`; `margin` is half of the 95 % interval for one more good clip.
    sound : str
        The sound it is about; empty for levels.
    hz : (float, float) or None
        Range of frequencies of a level.
    """

    what: str
    text: str
    value: float
    usual: float
    margin: float
    unit: str
    sound: str = ""
    hz: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Baseline:
    """What one machine does in one state when it is in good order.

    Attributes
    ----------
    machine, state : str
    observed : tuple of Observed
        One a known-good clip.
    left_out : tuple of str
        Clips that were called good and are not used, each with the reason.
    """

    machine: str
    state: str
    observed: tuple[Observed, ...]
    left_out: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """How many known-good clips it rests on."""
        return len(self.observed)


@dataclass(frozen=True, slots=True)
class Comparison:
    """A clip beside a baseline.

    Attributes
    ----------
    differences : tuple of Difference
        The surest first.
    not_comparable : tuple of str
        Each says what cannot be compared, and why.
    n : int
        Known-good clips behind it.
    says : str
        One or two sentences. It never says that all is well.
    """

    machine: str
    state: str
    differences: tuple[Difference, ...]
    not_comparable: tuple[str, ...]
    n: int
    says: str


def compare(baseline: Baseline, now: Observed | None) -> Comparison:
    """Set a clip beside a baseline.

    Parameters
    ----------
    baseline : Baseline
    now : Observed or None
        None when nobody says that the clip shows the state.
    """
    state = baseline.state.replace("_", " ")
    if now is None:
        why = f"not comparable: nobody says when the clip shows the state {state!r}; mark it in the story"
        return _said(baseline, (), (why,))
    if not baseline.observed:
        why = f"not comparable: no known-good clip of this machine shows the state {state!r} yet"
        return _said(baseline, (), (why,))
    reasons = level_reasons([o.clip for o in baseline.observed], now.clip)
    found: list[Difference] = []
    if not reasons:
        found += _levels(baseline, now)
    found += _lines(baseline, now) + _durations(baseline, now) + _counts(baseline, now)
    sounds, more = _sounds(baseline, now)
    found += sounds
    order = {"new": 0, "vanished": 1, "count": 2, "line": 3, "duration": 4, "level": 5}
    found.sort(key=lambda d: (order[d.what], -abs(d.value - d.usual) / max(d.margin, 1e-9)))
    return _said(baseline, tuple(found), tuple(reasons) + tuple(more))


def prediction(values: Sequence[float] | np.ndarray, assumed_sd: float) -> tuple[float, float]:
    """Return the mean of some values and half the 95 % interval for one more.

    Parameters
    ----------
    values : sequence of float
        At least one.
    assumed_sd : float
        Spread to begin with, worth `_ASSUMED_DF` degrees of freedom.

    Examples
    --------
    >>> mean, margin = prediction([10.0], 1.0)
    >>> round(mean, 1), round(margin, 2)
    (10.0, 3.46)
    """
    x = np.asarray(values, float)
    n = len(x)
    df = _ASSUMED_DF + n - 1
    variance = (_ASSUMED_DF * assumed_sd**2 + float(((x - x.mean()) ** 2).sum())) / df
    return float(x.mean()), _quantile(df) * math.sqrt(variance * (1 + 1 / n))


def _quantile(df: int) -> float:
    """The tabled quantile for at most so many degrees of freedom: never too narrow."""
    return _T95[max(key for key in _T95 if key <= df)]


def _levels(baseline: Baseline, now: Observed) -> list[Difference]:
    good = np.stack([o.bands_db for o in baseline.observed])
    carried = np.isfinite(now.bands_db) & np.isfinite(good).all(axis=0)
    if carried.sum() < 5:
        return []
    good, mids, mine = good[:, carried], MIDS_HZ[carried], now.bands_db[carried]
    # Each good clip is matched to their common middle, then this one to it.
    middle = good.mean(axis=0)
    for _ in range(2):
        good = good - np.median(good - middle, axis=1, keepdims=True)
        middle = good.mean(axis=0)
    off = mine - middle
    off = off - np.median(off)
    margins = np.array([prediction(good[:, b], ASSUMED["band"])[1] for b in range(good.shape[1])])
    beyond = np.where(np.abs(off) > margins, np.sign(off), 0.0)
    found, start = [], 0
    for b in range(1, len(beyond) + 1):
        if b < len(beyond) and beyond[b] == beyond[start]:
            continue
        # One band beyond its margin is chance, one in twenty; neighbours, or far beyond, are not.
        run = slice(start, b)
        sure = b - start >= 2 or float(np.abs(off[start]) / margins[start]) > 1.5
        if beyond[start] and sure:
            low, high, value = float(mids[start]), float(mids[b - 1]), float(off[run].mean())
            word = "louder" if value > 0 else "quieter"
            text = (
                f"{_hz(low)} to {_hz(high)} is {abs(value):.0f} dB {word} against the other bands than in the known-good "
                f"{words_for_count(baseline.n)} (margin {float(margins[run].mean()):.0f} dB)"
            )
            found.append(
                Difference("level", text, value, 0.0, float(margins[run].mean()), "dB", hz=(low, high))
            )
        start = b
    return found


def _lines(baseline: Baseline, now: Observed) -> list[Difference]:
    found = []
    for sound, hz in sorted(now.lines_hz.items()):
        good = [o.lines_hz[sound] for o in baseline.observed if sound in o.lines_hz]
        if not good:
            continue
        usual, margin = prediction(good, ASSUMED["line"] * float(np.mean(good)))
        if abs(hz - usual) > margin:
            text = f"{_word(sound)} at {hz:.1f} Hz, in the known-good {words_for_count(len(good))} {usual:.1f} Hz (margin {margin:.1f} Hz)"
            found.append(Difference("line", text, hz, usual, margin, "Hz", sound))
    return found


def _durations(baseline: Baseline, now: Observed) -> list[Difference]:
    found = []
    for sound, length in sorted(now.durations_s.items()):
        good = [
            o.durations_s[sound]
            for o in baseline.observed
            if sound in o.durations_s and sound not in o.open_ended
        ]
        if not good or sound in now.open_ended:
            continue
        usual, margin = prediction(good, max(ASSUMED["duration"] * float(np.mean(good)), 0.15))
        if abs(length - usual) > margin:
            text = f"{_word(sound)} for {length:.1f} s, in the known-good {words_for_count(len(good))} {usual:.1f} s (margin {margin:.1f} s)"
            found.append(Difference("duration", text, length, usual, margin, "s", sound))
    return found


def _counts(baseline: Baseline, now: Observed) -> list[Difference]:
    """Compare numbers of moments by rate: counts scatter at least as chance does."""
    found = []
    for sound in sorted({*now.counts, *(s for o in baseline.observed for s in o.counts)}):
        good = [o.counts.get(sound, 0) for o in baseline.observed]
        n_now, usual = now.counts.get(sound, 0), float(np.mean(good))
        # A sound that was never there, or is gone, is told as new or vanished.
        if n_now == 0 or max(good) == 0:
            continue
        _, margin = prediction(good, max(0.5, math.sqrt(usual) / 2))
        if abs(n_now - usual) > margin:
            text = f"{n_now} × {_word(sound)}, in the known-good {words_for_count(len(good))} {usual:.1f} (margin {margin:.1f})"
            found.append(Difference("count", text, n_now, usual, margin, "", sound))
    return found


def _sounds(baseline: Baseline, now: Observed) -> tuple[list[Difference], list[str]]:
    n = baseline.n
    found, cannot = [], []
    before: dict[str, int] = {}
    for observed in baseline.observed:
        for sound in observed.sounds:
            before[sound] = before.get(sound, 0) + 1
    # Never heard in n clips: it may still be in up to this share of good ones (exact, 95 %).
    up_to = 1 - 0.05 ** (1 / n)
    for sound in sorted(now.sounds - set(before)):
        could = sum(not ({sound, "*"} & o.blocked) for o in baseline.observed)
        if could == 0:
            cannot.append(f"not comparable: no known-good clip could have carried {_word(sound)}")
            continue
        share = 1 - 0.05 ** (1 / could)
        text = (
            f"new: {_word(sound)}, not in the known-good {words_for_count(could)} "
            f"(by their number alone, up to {100 * share:.0f} % of good ones may have it)"
        )
        found.append(Difference("new", text, 1.0, 0.0, share, "", sound))
    for sound in sorted(set(before) - now.sounds):
        if before[sound] < n:
            continue
        if {sound, "*"} & now.blocked:
            cannot.append(
                f"not comparable: this clip could not have carried {_word(sound)}; record it again without what hides it"
            )
            continue
        text = (
            f"vanished: {_word(sound)}, in {'the one' if n == 1 else f'all {n}'} known-good {'clip' if n == 1 else 'clips'} "
            f"(by their number alone, up to {100 * up_to:.0f} % of good ones may lack it)"
        )
        found.append(Difference("vanished", text, 0.0, 1.0, up_to, "", sound))
    return found, cannot


def _said(baseline: Baseline, found: tuple[Difference, ...], cannot: tuple[str, ...]) -> Comparison:
    if found:
        says = f"{len(found)} thing{'s' if len(found) > 1 else ''} not as in the known-good {words_for_count(baseline.n)}."
    elif baseline.n and not any("nobody says" in why for why in cannot):
        says = f"No difference from the known-good {words_for_count(baseline.n)} was measured."
    else:
        says = "Nothing was compared."
    says += " A baseline clears nothing: what must not be heard stays a finding, however often it was heard before."
    return Comparison(baseline.machine, baseline.state, found, cannot, baseline.n, says)


def _word(sound: str) -> str:
    return sound.replace("_", " ")


def _hz(hz: float) -> str:
    return f"{hz / 1000:.3g} kHz" if hz >= 1000 else f"{hz:.0f} Hz"
