"""From marks of a person to the states of the clip; drafted from anchors when there are none.

Given and drafted are kept apart: a drafted state says what it rests on, helps
to name sounds, and clears nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from listen.bench.entries import Action, Knowledge
from listen.bench.machine import Machine
from listen.bench.phrases import clock
from listen.bench.scene import PumpRun, Scene
from listen.types import StoryMark, StorySpan


def spans_from_marks(
    marks: Sequence[StoryMark], *, duration_s: float, machine: Machine, knowledge: Knowledge
) -> tuple[StorySpan, ...]:
    """Turn marks into spans that follow each other.

    A mark is a state that begins or an action. Marks past the end of the clip
    are ignored. What came before the first mark is drafted, unless that mark
    lies within the tolerance of the start.
    """
    ordered = _without_echoes(
        sorted((m for m in marks if 0.0 <= m.at_s <= duration_s), key=lambda m: m.at_s), knowledge
    )
    spans: list[StorySpan] = []
    if not ordered:
        return ()
    tolerance = knowledge.settings.mark_tolerance_s
    for i, mark in enumerate(ordered):
        start = 0.0 if i == 0 and mark.at_s <= tolerance else mark.at_s
        end = ordered[i + 1].at_s if i + 1 < len(ordered) else duration_s
        if i == 0 and start > 0.0:
            action = knowledge.actions.get(mark.word)
            if action is not None and action.before is not None:
                spans.append(
                    StorySpan(action.before, 0.0, start, "drafted", f"{action.words} only at {clock(start)}")
                )
        if end > start:
            spans.extend(_from_mark(mark, start, end, machine, knowledge))
    return _joined(spans)


def _without_echoes(marks: list[StoryMark], knowledge: Knowledge) -> list[StoryMark]:
    """Drop a state that only repeats the action just before it (`brew_on` and `brew` together)."""
    kept: list[StoryMark] = []
    for mark in marks:
        action = knowledge.actions.get(kept[-1].word) if kept else None
        close = bool(kept) and mark.at_s - kept[-1].at_s <= 0.5
        if action is not None and close and mark.word in (action.begins, action.then):
            continue
        kept.append(mark)
    return kept


def _from_mark(
    mark: StoryMark, start: float, end: float, machine: Machine, knowledge: Knowledge
) -> list[StorySpan]:
    action: Action | None = knowledge.actions.get(mark.word)
    if action is None:
        return [StorySpan(mark.word, start, end, "given", f"told at {clock(mark.at_s)}")]
    because = f"{action.words} at {clock(mark.at_s)}"
    begins = action.begins
    if machine.group == "manual_lever" and action.lever_begins is not None:
        begins = action.lever_begins
        return [StorySpan(begins, start, end, "given", because)]
    source = "given" if action.certain else "drafted"
    if action.then is None or action.lasts_s is None or mark.at_s + action.lasts_s >= end:
        return [StorySpan(begins, start, end, source, because)]
    middle = mark.at_s + action.lasts_s
    later = "given" if action.then_certain else "drafted"
    return [
        StorySpan(begins, start, middle, source, because),
        StorySpan(action.then, middle, end, later, because),
    ]


def _joined(spans: list[StorySpan]) -> tuple[StorySpan, ...]:
    out: list[StorySpan] = []
    for span in spans:
        if out and out[-1].state == span.state and out[-1].source == span.source:
            last = out.pop()
            span = StorySpan(span.state, last.start_s, span.end_s, span.source, last.rests_on)
        out.append(span)
    return tuple(out)


def draft_spans(scene: Scene) -> tuple[StorySpan, ...]:
    """Draft spans from pump runs, discharges and vents; what no anchor covers stays open."""
    settings = scene.knowledge.settings
    spans: list[StorySpan] = []
    for run in scene.pump_runs():
        if run.duration_s < settings.draft_min_pump_s:
            continue
        spans.extend(_draft_run(scene, run))
    for hiss in scene.counted("hiss"):
        sealed = not hiss.open_end and hiss.measures.get("fall_ms", 1e9) <= 300.0
        growing = hiss.measures.get("growth_db_per_min", 0.0) > 0.0
        free = all(s.end_s <= hiss.onset_s or s.start_s >= hiss.offset_s for s in spans)
        if sealed and growing and hiss.duration_s >= 10.0 and free:
            rests = f"a hiss that grew and ended at once at {clock(hiss.offset_s)}"
            spans.append(StorySpan("vent_closing", hiss.onset_s, hiss.offset_s, "drafted", rests))
    return _without_overlap(sorted(spans, key=lambda s: s.start_s), scene.duration_s)


def _draft_run(scene: Scene, run: PumpRun) -> list[StorySpan]:
    settings = scene.knowledge.settings
    heard = f"a pump from {clock(run.onset_s)} to {clock(run.offset_s)}"
    bursts = [
        e for e in scene.counted("burst") if run.onset_s < e.onset_s <= run.offset_s + settings.burst_after_s
    ]
    if bursts:
        burst = bursts[-1]
        rests = f"{heard} and a discharge at {clock(burst.onset_s)}"
        middle = min(run.onset_s + 1.5, burst.onset_s)
        return [
            StorySpan("brew_start", run.onset_s, middle, "drafted", rests),
            StorySpan("brew", middle, max(middle, burst.onset_s), "drafted", rests),
            StorySpan("brew_end", burst.onset_s, max(burst.offset_s, run.offset_s), "drafted", rests),
        ]
    if run.duration_s >= settings.draft_brew_s:
        return [StorySpan("brew", run.onset_s, run.offset_s, "drafted", f"{heard}, by its length alone")]
    return [StorySpan("auto_fill", run.onset_s, run.offset_s, "drafted", f"{heard}, no discharge after it")]


def _without_overlap(spans: list[StorySpan], duration_s: float) -> tuple[StorySpan, ...]:
    out: list[StorySpan] = []
    for span in spans:
        start = max(span.start_s, out[-1].end_s if out else 0.0)
        end = min(span.end_s, duration_s)
        if end > start:
            out.append(StorySpan(span.state, start, end, span.source, span.rests_on))
    return tuple(out)
