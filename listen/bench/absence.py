"""Facts of absence: what should have been heard and was not.

An absent sound counts only if the clip could have carried it at that moment
and something else was heard there, so that a dead microphone proves nothing.
"""

from __future__ import annotations

from listen.bench.facts import NO, Answer, fact, say_event
from listen.bench.phrases import clock
from listen.bench.scene import PUMP_SOUNDS, PumpRun, Scene, overlap_s, uncovered_s
from listen.types import SoundEvent


@fact
def click_missing(
    scene: Scene,
    *,
    states: tuple[str, ...],
    before_s: float,
    after_s: float,
    not_in: tuple[str, ...] = (),
    opened_by: tuple[str, ...] = (),
) -> Answer:
    """The pump starts in a given state and no click is heard at its start.

    The pump onset is the anchor, and so is the mark: the click may lie at
    either. Where the mark is further before the pump than the tolerance (a
    pause before the pump), the click may come anywhere between them. A sound
    of `opened_by` during the run or at its end shows that the valve opened:
    then its click was there, and not heard.
    """
    unsure: Answer = NO
    for stretch in scene.stretches(states):
        run = _first_run(scene, stretch, not_in)
        if run is None:
            continue
        windows = _click_windows(scene, stretch, run, before_s, after_s)
        start, end = windows[0]
        if opened_by and any(_closes(scene, run, e) for e in scene.counted(*opened_by)):
            continue
        if start < 0.0:
            unsure = Answer("cannot_tell", ("the clip begins after the pump started",), run.event_ids)
        elif _any_in(scene.counted("click", "click_train", "thump"), windows):
            continue
        elif _any_in(scene.faint("click", "click_train"), windows):
            unsure = Answer(
                "cannot_tell", (f"perhaps a faint click near {clock(run.onset_s)}",), run.event_ids
            )
        elif _drowned(scene, run):
            unsure = Answer(
                "cannot_tell",
                (
                    f"the pump hardly stands over the noise at {clock(run.onset_s)}, and a click could be hidden in it",
                ),
                run.event_ids,
                tuple(("click", *w) for w in windows),
            )
        elif not all(scene.carries_throughout("click", *w) for w in windows):
            unsure = Answer(
                "cannot_tell",
                (f"no click heard near {clock(run.onset_s)}, but this clip does not carry clicks there",),
                run.event_ids,
                tuple(("click", *w) for w in windows),
            )
        else:
            return Answer(
                "yes",
                (
                    f"no click between {clock(start)} and {clock(end)}, though the pump starts at "
                    f"{clock(run.onset_s)} (the clip carries clicks)",
                ),
                run.event_ids,
            )
    return unsure


#: A state that was told this early was there when the clip began, s.
_AT_ONCE_S = 0.1
#: A discharge begins with its valve; so long after the brew's end it must have begun, whatever is said later, s (estimate).
_BEGINS_BY_S = 0.6
#: How much less exactly a motor's start is heard than that of strokes, s (unscored scenes of the second generator: up to 0.4 late, 0.8 early).
_MOTOR_KNOWN_S = 0.3
#: A jet that reaches this far into the moment of a discharge may hide it, s.
_HIDES_S = 0.5
#: What lasts behind a pump, stands so much further out than it, and is so much louder, is none of its own end, dB (estimate; unscored
#: scenes of the second generator: without a discharge 1 of 28, with one that is not told 5 of 19).
_FURTHER_DB, _FURTHER_OVER_DB = 5.0, 15.0


def _drowned(scene: Scene, run: PumpRun) -> bool:
    """Whether the pump itself stands so little over the noise around it that its valve may be lost there."""
    settings = scene.knowledge.settings
    mine = [e.measures for e in scene.events if e.id in run.event_ids and "level_db" in e.measures]
    # A motor's lines lie below most noise and may hardly lift the whole range; where strokes lie it then tells.
    plain = [
        m["level_db"] >= settings.drowned_pump_db or m.get("stands_db", -1.0) >= settings.drowned_strokes_db
        for m in mine
    ]
    return bool(plain) and not any(plain)


def _closes(scene: Scene, run: PumpRun, event: SoundEvent) -> bool:
    """Tell whether a sound comes while a run of the pump goes on or where it ends."""
    return run.onset_s + 1.0 <= event.onset_s <= run.offset_s + scene.knowledge.settings.burst_after_s


def _click_windows(
    scene: Scene, stretch: tuple[float, float], run: PumpRun, before_s: float, after_s: float
) -> list[tuple[float, float]]:
    tolerance = scene.knowledge.settings.mark_tolerance_s
    # When a motor starts is heard less exactly than when strokes do, and no less exactly told.
    more_s = 0.0 if scene.strokes(run) else _MOTOR_KNOWN_S
    at_pump = (run.onset_s - before_s - more_s, run.onset_s + after_s + more_s)
    if stretch[0] <= _AT_ONCE_S:  # the state was there when the clip began: no moment was told
        return [at_pump]
    if run.onset_s - stretch[0] > tolerance:
        return [(stretch[0] - tolerance, at_pump[1])]
    return [at_pump, (max(0.0, stretch[0] - before_s), stretch[0] + after_s)]


def _any_in(events: list[SoundEvent], windows: list[tuple[float, float]]) -> bool:
    return any(a <= e.onset_s <= b for e in events for a, b in windows)


def _first_run(scene: Scene, stretch: tuple[float, float], not_in: tuple[str, ...]) -> PumpRun | None:
    wide = scene.widened(stretch)
    others = scene.stretches(not_in)
    for run in (r for r in scene.pump_runs() if not r.open_start):
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
def motor_missing_under_hum(
    scene: Scene, *, states: tuple[str, ...], min_s: float, sure: float = 0.0
) -> Answer:
    """In a given state a hum locked to the mains is heard, at least that `sure`, and no pump turning."""
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
            after_s = scene.knowledge.settings.burst_after_s
            if any(hum.onset_s < b.onset_s <= hum.offset_s + after_s for b in scene.counted("burst")):
                continue  # what discharges was under pressure: something pumped
            turned_s = [overlap_s((r.onset_s, r.offset_s), wide) for r in scene.pump_runs()]
            if max(turned_s, default=0.0) > 0.5 * (span[1] - span[0]):
                continue
            ids = (hum.id,)
            if max(turned_s, default=0.0) > 0.3:
                say = f"{say_event(hum)}, and something that turns for a part of it"
                unsure = Answer("cannot_tell", (say,), ids)
            elif any(
                overlap_s((e.onset_s, e.offset_s), span) > 0.3
                for e in scene.faint("motor_run", "stroke_train")
            ):
                unsure = Answer("cannot_tell", (f"perhaps a faint pump near {clock(span[0])}",), ids)
            elif (turning_hz := hum.measures.get("shaft_hz")) is not None:
                say = (
                    f"{say_event(hum)}, and a line at {turning_hz:.1f} Hz beside it, as of a shaft that turns"
                )
                unsure = Answer("cannot_tell", (say,), ids)
            elif hum.probability < sure:
                say = f"{say_event(hum)}, so faint that the turning of a motor may be lost beside it"
                unsure = Answer("cannot_tell", (say,), ids)
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
    stops = (m.at_s for m in scene.marks if m.word in scene.stop_words and m.at_s > run.onset_s)
    stop_s = next(stops, None)
    if stop_s is None:
        return run.offset_s
    if abs(stop_s - run.offset_s) <= tolerance:
        return max(stop_s, run.offset_s)  # its end may have been lost under something else
    return stop_s + tolerance


@fact
def burst_missing(
    scene: Scene, *, states: tuple[str, ...], min_loaded_s: float, within_s: float, unless_likely: float = 0.0
) -> Answer:
    """A loaded brew has ended and no discharge is heard within `within_s` of its end.

    Pump runs of one brew (a pause for pre-infusion) count together; the last one ends it.
    With `unless_likely` it is enough that none is heard, though the clip may not carry one, if the pump stands out of it
    and the ear does not find one that likely, or finds one most unlikely.
    """
    unsure: Answer = NO
    for stretch in scene.stretches(states):
        wide = scene.widened(stretch)
        last_s = max(stretch[0] + 0.5, stretch[1] - 0.5)
        runs = [r for r in scene.pump_runs() if not r.open_start and _brews(scene, r, wide, last_s)]
        pieces = [(r.onset_s, r.offset_s) for r in runs]
        if wide[1] - wide[0] - uncovered_s(wide, pieces) < min_loaded_s:
            continue
        answer = _burst_after(scene, runs, within_s, unless_likely)
        if answer.truth == "yes":
            return answer
        if answer.truth == "cannot_tell":
            unsure = answer
    return unsure


def _brews(scene: Scene, run: PumpRun, wide: tuple[float, float], last_s: float) -> bool:
    """Tell whether a run began with a brew, or before it and is of strokes all through it."""
    if wide[0] <= run.onset_s < last_s:
        return True
    return scene.strokes(run) and run.onset_s < wide[0] and run.offset_s >= last_s


def _burst_after(scene: Scene, runs: list[PumpRun], within_s: float, unless_likely: float) -> Answer:
    run = max(runs, key=lambda r: (not r.open_end, r.offset_s))
    ids = tuple(i for r in runs for i in r.event_ids)
    late = scene.knowledge.settings.mark_tolerance_s
    end = _discharge_by(scene, run) + within_s
    start = runs[0].onset_s + 1.0
    if any(start <= e.onset_s <= end for e in scene.counted("burst")):
        return NO
    if run.open_end or end > scene.duration_s + 1e-6:
        return Answer("cannot_tell", ("the clip ends before a discharge could be heard",), ids)
    if run.offset_s >= end and not _one_stopped(scene, ids, end - within_s):
        say = f"the pump runs on over the moment of the discharge, to {clock(run.offset_s)}, and may hide it"
        return Answer("cannot_tell", (say,), ids)
    window = (max(start, min(run.offset_s, end - within_s) - late), end)
    begins = (window[0], min(end, end - within_s + _BEGINS_BY_S))
    alike = [e for e in scene.faint("burst") if begins[0] <= e.onset_s <= begins[1]]
    ended = _ended(scene, ids, end - within_s)
    soft = _too_soft(scene, ended)
    # A jet may be the discharge by another name; one that began before the pump stopped, and goes on, may hide it.
    jets = [] if soft else scene.counted("hiss", "blast", "splutter")
    jets = [e for e in jets if e.onset_s <= end and e.offset_s >= window[0] + _HIDES_S]
    alike += [e for e in jets if e.onset_s >= window[0]]
    if alike:
        say = f"{say_event(alike[0])}: perhaps the discharge, perhaps not"
        return Answer("cannot_tell", (say,), (alike[0].id,))
    over_db = [e.measures["after_db"] for e in ended if "after_db" in e.measures]
    settings = scene.knowledge.settings
    if any(db >= settings.loud_after_db for db in over_db):
        say = f"something far louder than the pump comes right after it, at {clock(run.offset_s)}: perhaps the discharge"
        return Answer("cannot_tell", (say,), ids)
    # A grinder that is heard a moment later may have begun before.
    ground = any(begins[0] <= g.onset_s <= end for g in scene.counted("grinder"))
    hidden = ""
    if jets:
        hidden = f"{say_event(jets[0])}: perhaps the discharge, perhaps not"
    elif not soft and (not scene.carries_throughout("burst", *begins, slice_s=0.4) or ground):
        hidden = "no discharge heard after the brew, but this clip does not carry one"
    elif any(
        e.measures.get("behind_db", 0.0) >= settings.behind_db
        # Behind a pump that stands out, its own end would be that, unless it stands further than the pump did.
        and (
            not over_db
            or (
                max(over_db) >= _FURTHER_OVER_DB
                and e.measures["behind_db"] >= e.measures.get("stands_db", float("inf")) + _FURTHER_DB
            )
        )
        for e in ended
    ):
        hidden = f"no discharge heard after the brew, but something else is, right after the pump at {clock(run.offset_s)}"
    likely = max((e.measures.get("discharge_p", 0.0) for e in ended), default=0.0)
    if hidden and unless_likely and _none_made_out(scene, ended):
        say = "no discharge heard after the brew, nor anything like one in the noise there"
        return Answer("yes", (say,), ids)
    if hidden:
        # A warning that comes with every noisy clip would be none.
        warns = (
            likely < unless_likely
            and not _drowned(scene, run)
            and (bool(over_db) or not jets)
            and all(db < settings.perhaps_after_db for db in over_db)
        )
        blocked = () if jets else (("burst", *window),)
        return Answer("yes" if warns else "cannot_tell", (hidden,), ids, blocked)
    say = (
        f"pump from {clock(runs[0].onset_s)} to {clock(run.offset_s)}, and no discharge up to "
        f"{clock(end)} ({'what is heard there is softer than one' if soft else 'the clip carries one'})"
    )
    return Answer("yes", (say,), ids)


def _ended(scene: Scene, ids: tuple[str, ...], by_s: float) -> list[SoundEvent]:
    """Return the sounds of a brew's pump that stopped with it."""
    return [
        e
        for e in scene.counted(*PUMP_SOUNDS)
        if e.id in ids
        and not e.open_end
        and abs(e.offset_s - by_s) <= scene.knowledge.settings.mark_tolerance_s
    ]


def _too_soft(scene: Scene, ended: list[SoundEvent]) -> bool:
    """Tell whether all that is heard behind the pump that stopped then is softer than a discharge would be.

    Then neither voices nor noise hide one, for what hides it would be louder. A telephone's codec may take one away.
    """
    settings = scene.knowledge.settings
    if scene.quality.band_hz[1] < settings.discharge_band_hz:
        return False
    least_db = {"motor_run": settings.soft_after_motor_db, "stroke_train": settings.soft_after_strokes_db}
    return bool(ended) and all(e.measures.get("after_db", float("inf")) <= least_db[e.sound] for e in ended)


def _none_made_out(scene: Scene, ended: list[SoundEvent]) -> bool:
    """Tell whether the ear finds a discharge behind the pump that stopped then most unlikely, whatever else is there."""
    least = scene.knowledge.settings.no_discharge_p
    return bool(ended) and all(e.measures.get("discharge_p", 1.0) < least for e in ended)


def _one_stopped(scene: Scene, ids: tuple[str, ...], by_s: float) -> bool:
    """Tell whether one of several motors stopped at the brew's end, though another goes on."""
    near_s = 2.0 * scene.knowledge.settings.mark_tolerance_s
    return any(
        e.id in ids and not e.open_end and by_s - near_s <= e.offset_s <= by_s
        for e in scene.counted(*PUMP_SOUNDS)
    )


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
