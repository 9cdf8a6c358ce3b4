"""Facts of absence: what should have been heard and was not.

An absent sound counts only if the clip could have carried it at that moment
and something else was heard there, so that a dead microphone proves nothing.
"""

from __future__ import annotations

from listen.bench.facts import NO, Answer, fact, say_event
from listen.bench.scene import PumpRun, Scene, overlap_s
from listen.bench.story import clock


@fact
def click_missing(
    scene: Scene, *, states: tuple[str, ...], before_s: float, after_s: float, not_in: tuple[str, ...] = ()
) -> Answer:
    """The pump starts in a given state and no click is heard at its start.

    The pump onset is the anchor. Where the mark lies more than the tolerance
    before it (a pause before the pump), the click may belong to the mark, and
    is looked for from there on.
    """
    tolerance = scene.knowledge.settings.mark_tolerance_s
    unsure: Answer = NO
    for stretch in scene.stretches(states):
        run = _first_run(scene, stretch, not_in)
        if run is None:
            continue
        start = run.onset_s - before_s
        if run.onset_s - stretch[0] > tolerance and stretch[0] > 0.0:
            start = min(start, stretch[0] - tolerance)
        end = run.onset_s + after_s
        if run.open_start or start < 0.0:
            unsure = Answer("cannot_tell", ("the clip begins after the pump started",), run.event_ids)
            continue
        if any(start <= c.onset_s <= end for c in scene.counted("click", "click_train", "thump")):
            continue
        if any(start <= c.onset_s <= end for c in scene.faint("click", "click_train")):
            unsure = Answer(
                "cannot_tell", (f"perhaps a faint click near {clock(run.onset_s)}",), run.event_ids
            )
            continue
        if not scene.carries("click", start, end):
            unsure = Answer(
                "cannot_tell",
                (f"no click heard near {clock(run.onset_s)}, but this clip does not carry clicks",),
                run.event_ids,
                (("click", start, end),),
            )
            continue
        return Answer(
            "yes",
            (
                f"no click between {clock(start)} and {clock(end)}, though the pump starts at "
                f"{clock(run.onset_s)} (the clip carries clicks)",
            ),
            run.event_ids,
        )
    return unsure


def _first_run(scene: Scene, stretch: tuple[float, float], not_in: tuple[str, ...]) -> PumpRun | None:
    wide = scene.widened(stretch)
    others = scene.stretches(not_in)
    for run in scene.pump_runs():
        elsewhere = any(scene.widened(o)[0] <= run.onset_s <= o[1] for o in others)
        if wide[0] <= run.onset_s < wide[1] and not elsewhere:
            return run
    return None


@fact
def clicks_elsewhere(scene: Scene, *, away_s: float) -> Answer:
    """A click is heard in the clip, away from the start of any pump."""
    onsets = [r.onset_s for r in scene.pump_runs()]
    clicks = [c for c in scene.counted("click") if all(abs(c.onset_s - o) > away_s for o in onsets)]
    if not clicks:
        return NO
    return Answer("yes", (f"the clip shows a click elsewhere, at {clock(clicks[0].onset_s)}",))


@fact
def motor_missing_under_hum(scene: Scene, *, states: tuple[str, ...], min_s: float) -> Answer:
    """In a given state a hum locked to the mains is heard, and no pump turning."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    unsure: Answer = NO
    for stretch in scene.stretches(states):
        wide = scene.widened(stretch)
        for hum in scene.counted("mains_hum", "mains_buzz"):
            span = (max(hum.onset_s, wide[0]), min(hum.offset_s, wide[1]))
            if span[1] - span[0] < min_s:
                continue
            if stretch[0] > tolerance and hum.onset_s < stretch[0] - tolerance:
                continue  # it hummed before anything was asked of the pump
            if any(overlap_s((r.onset_s, r.offset_s), wide) > 0.3 for r in scene.pump_runs()):
                continue
            ids = (hum.id,)
            if any(
                overlap_s((e.onset_s, e.offset_s), span) > 0.3
                for e in scene.faint("motor_run", "stroke_train")
            ):
                unsure = Answer("cannot_tell", (f"perhaps a faint pump near {clock(span[0])}",), ids)
            elif not scene.carries("motor_run", *span):
                unsure = Answer(
                    "cannot_tell",
                    (f"{say_event(hum)}, but this clip does not carry the turning of a motor",),
                    ids,
                    (("motor_run", *span),),
                )
            else:
                return Answer("yes", (f"{say_event(hum)}, and no turning motor beside it",), ids)
    return unsure


def _discharge_by(scene: Scene, run: PumpRun) -> float:
    """Return when the brew of a pump run was over: by the pump, or by a mark far from its end."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    stops = (m.at_s for m in scene.marks if m.word in ("brew_off", "lever_down") and m.at_s > run.onset_s)
    stop_s = next(stops, None)
    if stop_s is None or abs(stop_s - run.offset_s) <= tolerance:
        return run.offset_s
    return stop_s + tolerance


@fact
def burst_missing(scene: Scene, *, states: tuple[str, ...], min_loaded_s: float, within_s: float) -> Answer:
    """A loaded brew has ended and no discharge is heard within `within_s` of its end."""
    tolerance = scene.knowledge.settings.mark_tolerance_s
    unsure: Answer = NO
    for run in scene.pump_runs():
        for stretch in scene.stretches(states):
            wide = scene.widened(stretch)
            if not wide[0] <= run.onset_s < wide[1] or run.open_start:
                continue
            if overlap_s((run.onset_s, run.offset_s), wide) < min_loaded_s:
                continue
            end = _discharge_by(scene, run) + within_s
            if run.open_end or end > scene.duration_s + 1e-6:
                unsure = Answer(
                    "cannot_tell", ("the clip ends before a discharge could be heard",), run.event_ids
                )
                continue
            start = run.onset_s + 1.0
            if any(start <= e.onset_s <= end for e in scene.counted("burst")):
                continue
            late = min(run.offset_s, end - within_s) - tolerance
            alike = [
                e
                for e in (*scene.faint("burst"), *scene.counted("hiss", "blast", "splutter"))
                if late <= e.onset_s <= end
            ]
            if alike:
                unsure = Answer(
                    "cannot_tell",
                    (f"{say_event(alike[0])}: perhaps the discharge, perhaps not",),
                    (alike[0].id,),
                )
                continue
            window = (max(start, late), end)
            if not scene.carries("burst", *window):
                unsure = Answer(
                    "cannot_tell",
                    ("no discharge heard after the brew, but this clip does not carry one",),
                    run.event_ids,
                    (("burst", *window),),
                )
                continue
            return Answer(
                "yes",
                (
                    f"pump from {clock(run.onset_s)} to {clock(run.offset_s)}, and no discharge up to "
                    f"{clock(end)} (the clip carries one)",
                ),
                run.event_ids,
            )
    return unsure


@fact
def discharge_open(scene: Scene, *, run_s: float) -> Answer:
    """A pump ran for `run_s` in no given state, and nothing discharged: a fill, or a brew that holds."""
    given = [(s.start_s, s.end_s) for s in scene.spans if s.source == "given"]
    after_s = scene.knowledge.settings.burst_after_s
    for run in scene.pump_runs():
        inside = sum(overlap_s((run.onset_s, run.offset_s), s) for s in given)
        if run.duration_s - inside < run_s:
            continue
        if not any(run.onset_s + 1.0 <= b.onset_s <= run.offset_s + after_s for b in scene.counted("burst")):
            return Answer(
                "yes",
                (f"pump from {clock(run.onset_s)} to {clock(run.offset_s)}, and no discharge after it",),
                run.event_ids,
            )
    return NO
