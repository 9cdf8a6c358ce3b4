"""All that the bench judges by, with the few questions every fact asks of it.

Conventions
-----------
*Counted* events are those at or above the probability of the settings.
Absence is stricter: an event that is fainter than counted, but not below the
absence ceiling, leaves it open. Marks by people are imprecise: to accuse, a
state is narrowed at its borders by the mark tolerance; to excuse, widened.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from listen.bench.entries import Expectation, Knowledge
from listen.bench.machine import Machine
from listen.types import Mains, Quality, SoundEvent, StoryMark, StorySpan

#: A pump sound may continue one of this many runs before it.
_LOOK_BACK = 12
#: What is louder than a machine, and how well the edges of strokes are known beside it, s (estimate).
LOUDER: tuple[str, ...] = ("speech", "music", "grinder")
_LOST_EDGE_S = 1.6
#: How far two trains of strokes that are one may overlap, s (estimate).
_STROKES_OVERLAP_S = 3.0
#: How well the edges of a motor are known that nobody switched, s (estimate).
_MOTOR_EDGE_S = 2.0
#: What a motor that starts or stops raises at the least where it stands out most, dB (estimate).
_MOTOR_RAISES_DB = 3.0
#: Two pieces of a motor that turns as fast, so far apart and without a click between them, are one run, if the first was so long, s.
_MOTOR_GAP_S, _LONG_RUN_S, _AS_FAST = 5.0, 30.0, 0.01
#: A motor whose rate differs by this share of it is another one; load alone takes less while it starts (estimate). How near its click is, s.
_ANOTHER_RATE, _CLICK_NEAR_S = 0.04, 0.7
PUMP_SOUNDS: tuple[str, ...] = ("motor_run", "stroke_train")
#: Which of them a known kind of pump makes; a vibratory one never slips, so a slipping comb is another motor.
_PUMP_BY_KIND: dict[str, tuple[str, ...]] = {"vibratory": ("stroke_train",), "none": ("no pump",)}


@dataclass(frozen=True, slots=True)
class PumpRun:
    """A stretch in which a pump is heard, gaps closed."""

    onset_s: float
    offset_s: float
    event_ids: tuple[str, ...]
    open_start: bool
    open_end: bool

    @property
    def duration_s(self) -> float:
        return self.offset_s - self.onset_s


def _same_run(run: PumpRun, event: SoundEvent, gap_s: float) -> bool:
    starts_together = abs(event.onset_s - run.onset_s) <= 1.0 and abs(event.offset_s - run.offset_s) <= 2.0
    follows_on = -0.5 <= event.onset_s - run.offset_s <= gap_s
    return starts_together or follows_on


def overlap_s(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the length two stretches have in common, 0 if none."""
    return max(0.0, min(a[1], b[1]) - max(a[0], b[0]))


@dataclass(frozen=True)
class Scene:
    """Events, quality, machine and story of one clip."""

    events: tuple[SoundEvent, ...]
    quality: Quality
    mains: Mains
    duration_s: float
    machine: Machine
    marks: tuple[StoryMark, ...]
    spans: tuple[StorySpan, ...]
    gauges: Mapping[str, float]
    said: str
    knowledge: Knowledge

    @property
    def stop_words(self) -> tuple[str, ...]:
        """Marks that stop a brew; the lever that presses the water by hand is lowered to begin one."""
        return ("brew_off",) if self.machine.group == "manual_lever" else ("brew_off", "lever_down")

    def counted(self, *sounds: str) -> list[SoundEvent]:
        """Return the events that count, in order; all sounds if none is named."""
        if sounds not in self._counted:
            self._counted[sounds] = [
                e
                for e in self.events
                if (not sounds or e.sound in sounds) and e.probability >= self._floor(e)
            ]
        return self._counted[sounds]

    @cached_property
    def _counted(self) -> dict[tuple[str, ...], list[SoundEvent]]:
        return {}

    def heard_near(self, sound: str, at_s: float, within_s: float) -> bool:
        """Tell whether a sound that counts begins within `within_s` of a moment."""
        onsets = (
            [e.onset_s for e in self.counted(sound)] if sound not in self._onsets else self._onsets[sound]
        )
        self._onsets[sound] = onsets
        return bisect_right(onsets, at_s + within_s) > bisect_left(onsets, at_s - within_s)

    @cached_property
    def _onsets(self) -> dict[str, list[float]]:
        return {}

    def faint(self, *sounds: str) -> list[SoundEvent]:
        """Return events too weak to count and too strong to be called absent."""
        s = self.knowledge.settings
        return [
            e
            for e in self.events
            if e.sound in sounds and s.absence_ceiling <= e.probability < self._floor(e)
        ]

    def _floor(self, event: SoundEvent) -> float:
        """Return the probability from which an event counts; the first stroke of a pump is much like a click."""
        s = self.knowledge.settings
        if event.sound == "click" and any(
            abs(event.onset_s - onset_s) <= s.first_stroke_s for onset_s in self._stroke_onsets_s
        ):
            return s.first_stroke_probability
        return s.event_probability

    @cached_property
    def _stroke_onsets_s(self) -> list[float]:
        floor = self.knowledge.settings.event_probability
        return [
            e.onset_s
            for e in self.events
            if e.sound == "stroke_train" and e.probability >= floor and not e.open_start
        ]

    def carries(self, sound: str, start_s: float, end_s: float) -> bool:
        """Tell whether the clip could have carried `sound` there; a running grinder hides it."""
        if not self.quality.carries(sound, start_s, end_s):
            return False
        for mask, hidden in self.knowledge.settings.masks.items():
            if sound in hidden or "*" in hidden:
                for event in self.counted(mask):
                    covered = overlap_s((event.onset_s, event.offset_s), (start_s, end_s))
                    if covered > 0.5 * max(end_s - start_s, 1e-9):
                        return False
        return True

    def carries_throughout(self, sound: str, start_s: float, end_s: float, slice_s: float = 0.2) -> bool:
        """Tell whether every slice of a window could have carried a short sound."""
        n = max(1, round((end_s - start_s) / slice_s))
        step = (end_s - start_s) / n
        return all(self.carries(sound, start_s + i * step, start_s + (i + 1) * step) for i in range(n))

    def pump_runs(self) -> list[PumpRun]:
        """Return what may be runs of this machine's pump, by onset."""
        return self._pump_runs

    @cached_property
    def _pump_runs(self) -> list[PumpRun]:
        """Join pump sounds to runs.

        Pieces with a gap shorter than the setting are one run; a sound that
        starts while another goes on is a run of its own (a refrigerator, and
        then the pump). A fan that starts with it, and no click, is no pump.
        Strokes that are lost just while something louder lasts are one run.
        """
        runs: list[PumpRun] = []
        gap_s = self.knowledge.settings.pump_gap_s
        for e in self.counted(*_PUMP_BY_KIND.get(self.machine.pump or "", PUMP_SOUNDS)):
            # Newest first, and not far back: what ended long ago is joined by nothing.
            recent = range(len(runs) - 1, max(-1, len(runs) - 1 - _LOOK_BACK), -1)
            at = next(
                (
                    i
                    for i in recent
                    if (_same_run(runs[i], e, gap_s) and not self._switched_on_beside(runs[i], e))
                    or self._lost_under(runs[i], e)
                    or self._strokes_on(runs[i], e)
                    or self._turns_on(runs[i], e)
                ),
                None,
            )
            if at is None:
                runs.append(PumpRun(e.onset_s, e.offset_s, (e.id,), e.open_start, e.open_end))
                continue
            last = runs[at]
            runs[at] = PumpRun(
                last.onset_s,
                max(last.offset_s, e.offset_s),
                (*last.event_ids, e.id),
                last.open_start,
                e.open_end if e.offset_s > last.offset_s else last.open_end,
            )
        return [r for r in runs if not self._is_fan(r)]

    def _lost_under(self, run: PumpRun, event: SoundEvent) -> bool:
        if event.sound != "stroke_train" or event.onset_s < run.offset_s:
            return False
        if not self.strokes(run):
            return False
        return any(
            c.onset_s - _LOST_EDGE_S <= run.offset_s and event.onset_s <= c.offset_s + _LOST_EDGE_S
            for c in self.counted(*LOUDER)
        )

    def _strokes_on(self, run: PumpRun, event: SoundEvent) -> bool:
        """Tell whether strokes begin just before those of a run end, and go on: something louder covered the beat for a moment."""
        return (
            event.sound == "stroke_train"
            and self.strokes(run)
            and 0.0 <= run.offset_s - event.onset_s <= _STROKES_OVERLAP_S
            and event.offset_s > run.offset_s
        )

    def _turns_on(self, run: PumpRun, event: SoundEvent) -> bool:
        """Tell whether a motor that ran for long was lost for a moment only."""
        if event.sound != "motor_run" or not 0.0 <= event.onset_s - run.offset_s <= _MOTOR_GAP_S:
            return False
        if run.duration_s < _LONG_RUN_S or any(
            self.heard_near("click", at_s, 0.7) for at_s in (run.offset_s, event.onset_s)
        ):
            return False
        shaft_hz = event.measures.get("shaft_hz", 0.0)
        return any(
            e.id in run.event_ids and abs(e.measures.get("shaft_hz", 0.0) - shaft_hz) <= _AS_FAST * shaft_hz
            for e in self.events
            if shaft_hz and e.sound == "motor_run"
        )

    def _switched_on_beside(self, run: PumpRun, event: SoundEvent) -> bool:
        """Tell whether a click starts a motor of another rate while a run still goes on: that run was another appliance's."""
        shaft_hz = event.measures.get("shaft_hz")
        if shaft_hz is None or event.onset_s >= run.offset_s or event.onset_s - run.onset_s <= _CLICK_NEAR_S:
            return False
        others = [
            e.measures.get("shaft_hz", shaft_hz)
            for e in self.events
            if e.id in run.event_ids and e.sound == "motor_run"
        ]
        return (
            bool(others)
            and all(abs(hz - shaft_hz) > _ANOTHER_RATE * shaft_hz for hz in others)
            and self.heard_near("click", event.onset_s, _CLICK_NEAR_S)
        )

    def strokes(self, run: PumpRun) -> bool:
        """Tell whether a run is of strokes: only a pump strokes, no other appliance of a kitchen does."""
        return not self._stroke_ids.isdisjoint(run.event_ids)

    @cached_property
    def _stroke_ids(self) -> frozenset[str]:
        return frozenset(e.id for e in self.counted("stroke_train"))

    def another_clicks(self, run: PumpRun) -> bool:
        """Tell whether a motor that goes through the whole clip is not the pump: another one starts with a click."""
        return (
            run.open_start
            and run.open_end
            and any(
                r is not run and not r.open_start and self.heard_near("click", r.onset_s, 0.7)
                for r in self.pump_runs()
            )
        )

    def goes_through(self, run: PumpRun) -> bool:
        """Tell whether a motor may have run before the clip and may run after it, as a refrigerator does; only a pump strokes."""
        begins = run.onset_s > _MOTOR_EDGE_S or self.heard_near("click", run.onset_s, 0.7)
        ends = run.offset_s < self.duration_s - _MOTOR_EDGE_S and not self._fades(run)
        return not self.strokes(run) and not begins and not ends

    def raises_nothing(self, run: PumpRun) -> bool:
        """Tell whether a motor whose beginning is heard stands nowhere over what was there before: it was there as well."""
        mine = [e for e in self.events if e.id in run.event_ids and "stands_db" in e.measures]
        return bool(mine) and all(
            e.sound == "motor_run"
            and max(e.measures["stands_db"], e.measures.get("level_db", 0.0)) < _MOTOR_RAISES_DB
            for e in mine
        )

    def _fades(self, run: PumpRun) -> bool:
        """Tell whether a motor was lost under something louder, and not heard to end."""
        last = [e for e in self.events if e.id in run.event_ids and e.offset_s >= run.offset_s]
        return any(
            e.sound == "motor_run"
            and max(
                e.measures.get("level_db", _MOTOR_RAISES_DB), e.measures.get("behind_db", _MOTOR_RAISES_DB)
            )
            < _MOTOR_RAISES_DB
            for e in last
        )

    def is_switched(self, run: PumpRun) -> bool:
        """Tell whether a run is of strokes, or starts or stops with a click: a pump has a relay or a valve, a fan need not."""
        return self.strokes(run) or any(
            self.heard_near("click", at_s, 0.7) for at_s in (run.onset_s, run.offset_s)
        )

    def _is_fan(self, run: PumpRun) -> bool:
        if not self.heard_near("fan", run.onset_s, 1.0) or self.heard_near("click", run.onset_s, 0.7):
            return False
        span = (run.onset_s, run.offset_s)
        return any(
            abs(f.onset_s - run.onset_s) <= 1.0
            and overlap_s((f.onset_s, f.offset_s), span) > 0.4 * run.duration_s
            for f in self.counted("fan")
        )

    @property
    def told(self) -> bool:
        """Tell whether a person gave any state."""
        return any(span.source == "given" for span in self.spans)

    def stretches(self, states: Iterable[str], source: str = "given") -> list[tuple[float, float]]:
        """Return the stretches in any of `states`, neighbours joined. `source`: "given" or "any"."""
        wanted = set(states)
        joined: list[tuple[float, float]] = []
        for span in self.spans:
            if span.state not in wanted or (source == "given" and span.source != "given"):
                continue
            if joined and span.start_s <= joined[-1][1] + 1e-6:
                joined[-1] = (joined[-1][0], span.end_s)
            else:
                joined.append((span.start_s, span.end_s))
        return joined

    def narrowed(self, states: Iterable[str]) -> list[tuple[float, float]]:
        """Return given stretches to accuse by: drawn in at borders within the clip."""
        tolerance = self.knowledge.settings.mark_tolerance_s
        drawn = []
        for start, end in self.stretches(states):
            start = start + tolerance if start > tolerance else start
            end = end - tolerance if end < self.duration_s - tolerance else end
            if end > start:
                drawn.append((start, end))
        return drawn

    def widened(self, stretch: tuple[float, float]) -> tuple[float, float]:
        """Return a stretch let out by the mark tolerance, within the clip."""
        tolerance = self.knowledge.settings.mark_tolerance_s
        return max(0.0, stretch[0] - tolerance), min(self.duration_s, stretch[1] + tolerance)

    def mark_near(self, word: str, at_s: float, within_s: float) -> StoryMark | None:
        """Return the nearest mark of that word, None if none is near."""
        near = [m for m in self.marks if m.word == word and abs(m.at_s - at_s) <= within_s]
        return min(near, key=lambda m: abs(m.at_s - at_s), default=None)

    def explanation(self, event: SoundEvent) -> str | None:
        """Return the state that explains an event, None if none does.

        A sound that pressure makes is explained only by a state that a person
        gave, with a gauge reading where the expectation asks for one.
        """
        slack = self.knowledge.settings.unexplained_slack_s
        reach_s = self.knowledge.settings.mark_tolerance_s
        pressure = event.sound in self.knowledge.settings.pressure_sounds
        covered: list[tuple[float, float]] = []
        state = None
        for span in self.spans:
            if pressure and span.source != "given":
                continue
            if span.start_s - reach_s > event.offset_s or span.end_s + reach_s < event.onset_s:
                continue
            for entry in self.knowledge.expected(span.state, self.machine):
                if event.sound in entry.sounds and self._allows(entry, event):
                    for stretch in self._cover(entry, span):
                        if overlap_s(stretch, (event.onset_s, event.offset_s)) > 0 or _touches(
                            stretch, event
                        ):
                            covered.append(stretch)
                            state = state or span.state
        left = uncovered_s((event.onset_s, event.offset_s), covered)
        return state if state is not None and left <= slack else None

    def _allows(self, entry: Expectation, event: SoundEvent) -> bool:
        if entry.ends and event.open_end:
            return False
        if entry.max_s is not None and event.duration_s > entry.max_s:
            return False
        if entry.boiler_at_most_bar is not None:
            bar = self.gauges.get("boiler")
            return bar is not None and bar <= entry.boiler_at_most_bar
        return True

    def _cover(self, entry: Expectation, span: StorySpan) -> list[tuple[float, float]]:
        stretch = self.widened((span.start_s, span.end_s))
        if not entry.with_pump:
            return [stretch]
        tolerance = self.knowledge.settings.mark_tolerance_s
        bounds = [(r.onset_s - 0.5, r.offset_s + tolerance) for r in self.pump_runs()]
        pieces = [(max(stretch[0], a), min(stretch[1], b)) for a, b in bounds]
        return [p for p in pieces if p[1] > p[0]]


def _touches(stretch: tuple[float, float], event: SoundEvent) -> bool:
    return stretch[0] <= event.onset_s <= stretch[1]


def uncovered_s(whole: tuple[float, float], pieces: list[tuple[float, float]]) -> float:
    """Return how much of `whole` no piece covers, s.

    Examples
    --------
    >>> uncovered_s((0.0, 10.0), [(1.0, 4.0), (3.0, 6.0)])
    5.0
    """
    left, at = 0.0, whole[0]
    for start, end in sorted(pieces):
        if end <= at:
            continue
        if start > at:
            left += min(start, whole[1]) - at
        at = max(at, min(end, whole[1]))
        if at >= whole[1]:
            return left
    return left + max(0.0, whole[1] - at)
