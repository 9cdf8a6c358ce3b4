"""Durations, delays and intervals of a clip beside what is usual, and where the usual comes from.

Defaults are the trade's; known-good clips of the same machine narrow them. They
never widen them, and no timing clears or relaxes anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise

from listen.bench.entries import TimingRow
from listen.bench.facts import NO, Answer, fact
from listen.bench.judgement import Judgement
from listen.bench.phrases import lasting
from listen.bench.scene import PumpRun, Scene, overlap_s
from listen.types import Report, Timing

OWN = "this machine's good clips"
#: So many good values must there be before a machine has a range of its own (our choice).
ENOUGH = 5
#: A machine's range is so much wider than what its good clips showed (our choice).
_MARGIN = 0.15

_BREW = ("brew_start", "brew", "second_group")
_IDLE = ("idle_hot",)


def measure_timings(scene: Scene) -> tuple[Timing, ...]:
    """Return every timing that the clip shows whole, in the order of the table."""
    values = _values(scene)
    out = []
    for row in scene.knowledge.timings:
        if not row.machine.holds(scene.machine):
            continue
        usual, source = usual_range(row, scene.machine.timings)
        for value in values.get(row.name, []):
            within = usual[0] <= value <= usual[1]
            text = f"{row.words}: {lasting(value)} (usual {_span(usual)}, {source})"
            out.append(Timing(row.name, text, round(value, 3), row.unit, usual, source, within))
    return tuple(out)


def usual_range(row: TimingRow, own: Mapping[str, tuple[float, float]]) -> tuple[tuple[float, float], str]:
    """Return the range that holds, and its source: the machine's own where it narrows the trade's."""
    if row.name not in own:
        return row.usual, row.rests_on
    low, high = max(own[row.name][0], row.usual[0]), min(own[row.name][1], row.usual[1])
    return ((low, high), OWN) if low < high else (row.usual, row.rests_on)


def learn_timings(results: Iterable[Report | Judgement]) -> dict[str, tuple[float, float]]:
    """Return a machine's own ranges from results of its known-good clips.

    Parameters
    ----------
    results : iterable of Report or Judgement
        Only those judged normal at level `fine` are used.

    Returns
    -------
    dict
        Timing name to (low, high), s; to be written under ``[timings]`` of its profile.
    """
    values: dict[str, list[float]] = {}
    for result in results:
        if result.verdict == "normal" and result.level == "fine":
            for timing in result.timings:
                values.setdefault(timing.name, []).append(timing.value)
    return {
        name: (round(min(v) * (1.0 - _MARGIN), 2), round(max(v) * (1.0 + _MARGIN), 2))
        for name, v in sorted(values.items())
        if len(v) >= ENOUGH and max(v) > 0.0
    }


@fact
def unlike_itself(scene: Scene) -> Answer:
    """A timing lies outside what this machine's own good clips showed."""
    odd = [t for t in measure_timings(scene) if not t.within and t.source == OWN]
    return Answer("yes", tuple(t.text for t in odd)) if odd else NO


def _span(usual: tuple[float, float]) -> str:
    low, high = usual
    if low == 0.0:
        return f"up to {lasting(high)}"
    if high >= 86400.0:
        return f"at least {lasting(low)}"
    return f"{lasting(low)} to {lasting(high)}"


def _within(run: PumpRun, stretches: list[tuple[float, float]]) -> bool:
    inside = sum(overlap_s((run.onset_s, run.offset_s), s) for s in stretches)
    return inside > 0.5 * run.duration_s


def _values(scene: Scene) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    whole = [r for r in scene.pump_runs() if not (r.open_start or r.open_end)]
    brew = [scene.widened(s) for s in scene.stretches(_BREW)]
    brews = [r for r in whole if _within(r, brew)]
    clicks = [c.onset_s for c in scene.counted("click")]
    for run in brews:
        before = [run.onset_s - c for c in clicks if -0.1 <= run.onset_s - c <= 2.0]
        if before:
            out.setdefault("click_to_pump", []).append(max(0.0, min(before)))
        if run.duration_s >= 10.0:
            out.setdefault("brew_run", []).append(run.duration_s)
    late_s = scene.knowledge.settings.burst_after_s
    for burst in scene.counted("burst"):
        if any(-0.5 <= burst.onset_s - r.offset_s <= late_s for r in brews):
            out.setdefault("discharge", []).append(burst.duration_s)
    for mark in scene.marks:
        if mark.word in scene.stop_words:
            out.setdefault("run_on", []).extend(
                r.offset_s - mark.at_s for r in whole if r.onset_s < mark.at_s < r.offset_s
            )
    fills = [r for r in whole if _within(r, scene.stretches(("auto_fill", *_IDLE)))]
    out["fill_run"] = [r.duration_s for r in fills]
    out["fills_apart"] = [b.onset_s - a.onset_s for a, b in pairwise(fills)]
    out["first_fill"] = [r.duration_s for r in whole if _within(r, scene.stretches(("cold_start",)))]
    warm = scene.stretches(("cold_start", "warm_up", "vent_closing"))
    out["vent"] = _lengths(scene, "hiss", warm)
    out["heater_on"] = _lengths(scene, "boil", scene.stretches(_IDLE))
    boils = [b.onset_s for b in scene.counted("boil") if _inside(b.onset_s, scene.stretches(_IDLE))]
    out["heater_cycle"] = [b - a for a, b in pairwise(boils)]
    return out


def _inside(at_s: float, stretches: list[tuple[float, float]]) -> bool:
    return any(s[0] <= at_s <= s[1] for s in stretches)


def _lengths(scene: Scene, sound: str, stretches: list[tuple[float, float]]) -> list[float]:
    return [
        e.duration_s
        for e in scene.counted(sound)
        if not (e.open_start or e.open_end) and _inside(e.onset_s, stretches)
    ]
