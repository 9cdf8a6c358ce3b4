"""Compose the ear: physics and model give drafts, overlaps are settled, events are numbered."""

from __future__ import annotations

import numpy as np

from listen.ear.arcs import confirm_arcs, hear_arcs
from listen.ear.bundle import Bundle
from listen.ear.draft import Draft, numbered
from listen.ear.impulses import hear_impulses
from listen.ear.levels import LevelTracks
from listen.ear.noises import GOING_ON_SURE, hear_noises
from listen.ear.tones import PUMPS, hear_tones
from listen.ear.unnamed import hear_unnamed
from listen.features.collect import ClipFeatures
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.textures import segment_textures
from listen.types import Mains, SoundEvent

#: Sounds whose own onsets are no clicks, and whose tones are no squeals.
_OWN_ONSETS = ("speech", "music", "clatter", "gravel", "grinder")
_OWN_TONES = ("speech", "music")
#: What a valve or a relay starts and stops.
_SWITCHED = (*PUMPS, "mains_buzz", "mains_hum")
#: What a valve or a relay lets in.
_LET_IN = ("boil", "hiss", "burst", "blast")
#: What beats as an arc does, or by chance.
_BEATING = ("mains_buzz", "click_train", "gravel")
#: How much too early a motor may be seen, and how far behind its click it starts at the least, s (estimate).
_TOO_EARLY_S, _CLICK_TO_MOTOR_S = 0.6, 0.08
#: From here a click is a click, whoever speaks over it.
_PLAIN_CLICK = 0.85
#: From here a stroke is clear of gravel.
_CLEAR_OF_GRAVEL = 0.9
#: The same of a bang: from here the model names it.
_NAMED_BANG = 0.51
#: Running water no surer than this is doubted where strokes fill this share of it.
_UNSURE_FLOW, _STROKES_SHARE = 0.65, 0.25
#: So many strokes, and so many a second, are beans that crack.
_CRACKS, _CRACKS_PER_S = 3, 1.3
#: How near to a pump's end a noise begins with it, s.
_AT_PUMP_END_S = 0.5
#: A jet no surer than this stands at least that far over its surroundings, dB. One that no single second vouches for
#: is a grinder's where that one lasts for so much of it, and a coil's where both of its edges lie so near to the coil's, s.
_DOUBTED_JET, _LEAST_JET_DB, _WITHIN, _TOGETHER_S = 0.7, 3.0, 0.5, 0.4
#: How much surer a grinder is than the jet that its first seconds are taken for.
_FAR_SURER = 0.2
#: How far before and after its click a pump that is hidden seems to begin, s.
_ARC_BEFORE_S, _ARC_AFTER_S = 0.1, 0.4
#: From here gravel is plain: it crackles as an arc does (unscored scenes: no arc that is hardly named lies within such gravel).
_PLAIN_GRAVEL = 0.9
#: Gravel's own edges are known no better than this.
_GRAVEL_EDGE_S = 0.5


def listen_for_events(
    features: ClipFeatures, bundle: Bundle, given_mains_hz: int | None = None
) -> tuple[tuple[SoundEvent, ...], Mains]:
    """Turn features into sound events.

    Parameters
    ----------
    features : ClipFeatures
    bundle : Bundle
    given_mains_hz : {50, 60} or None

    Returns
    -------
    events : tuple of SoundEvent, by onset
    mains : Mains
    """
    mains = estimate_mains(features.lines, given_mains_hz)
    combs = comb_tracks(features.lines, mains)
    segments = segment_textures(features, combs)
    tones = hear_tones(features, combs, mains)
    pumps = [t for t in tones if t.sound in PUMPS]
    noises = hear_noises(features, segments, bundle.heads["textures"], bundle.heads.get("starts"), pumps)
    begins_s = [n.onset_s for n in noises if n.sound in _LET_IN and not n.open_start]
    impulses, perhaps_s = hear_impulses(features, bundle.heads["onsets"], _edges_s(tones), begins_s)
    _begin_with_clicks(pumps, impulses)
    beating = [d for d in (*tones, *impulses, *noises) if d.sound in _BEATING]
    levels = LevelTracks(features)
    doubted = confirm_arcs(levels, [n for n in noises if n.sound == "arcing"])
    noises = [n for n in noises if not any(n is d for d in doubted)]
    arcs = [a for a in hear_arcs(levels, pumps, beating) if not _joins_a_motor(a, tones, impulses)]
    noises += _not_yet(arcs, noises)
    noises = [_cracking(n, perhaps_s, pumps) for n in noises if not _made_of_strokes(n, impulses)]
    noises = [n for n in noises if not _no_jet(n, noises, tones) and not _of_a_train(n, impulses, noises)]
    drafts = noises + [t for t in tones if not _inside(t, noises, _OWN_TONES, ("squeal", "beep", "honk"))]
    drafts += [
        i for i in impulses
        if not (i.probability < _PLAIN_CLICK and _inside(i, noises, _OWN_ONSETS, ("click",)))
        and not _inside(i, noises, ("gravel",), ("click_train",))
        and not _deep_inside(i, noises)
    ]  # fmt: skip
    drafts += hear_unnamed(features, drafts)
    return numbered(drafts, features.duration_s), mains


def _edges_s(tones: list[Draft]) -> list[float]:
    """When a pump, a motor or a coil plainly started or stopped."""
    locked = [t for t in tones if t.sound in _SWITCHED]
    return [t.onset_s for t in locked if t.edge_start] + [t.offset_s for t in locked if t.edge_end]


def _joins_a_motor(arc: Draft, tones: list[Draft], impulses: list[Draft]) -> bool:
    """Whether what rises with a click beside a motor is rather a pump that starts, whose lines that motor hides."""
    return any(
        c.sound == "click"
        and c.probability >= _PLAIN_CLICK
        and -_ARC_BEFORE_S <= arc.onset_s - c.onset_s <= _ARC_AFTER_S
        for c in impulses
    ) and any(
        t.sound == "motor_run" and t.onset_s <= arc.onset_s + _ARC_BEFORE_S and t.offset_s >= arc.offset_s
        for t in tones
    )


def _not_yet(arcs: list[Draft], noises: list[Draft]) -> list[Draft]:
    """Arcs that the model has not named; those that it has reach as far as they beat."""
    new = []
    for arc in arcs:
        named = [n for n in noises if n.sound == "arcing" and arc.overlap_s(n) > 0.0]
        for n in named:
            n.onset_s, n.offset_s = min(n.onset_s, arc.onset_s), max(n.offset_s, arc.offset_s)
        if not named:
            new.append(arc)
    return new


def _begin_with_clicks(pumps: list[Draft], impulses: list[Draft]) -> None:
    """Let a motor begin no earlier than the click that starts it.

    Its lines are seen through windows of two seconds, the click to a thousandth; a run-up is
    no longer than that (common practice: relay or valve first, then the motor).
    """
    clicks_s = [i.onset_s for i in impulses if i.sound == "click"]
    for pump in (p for p in pumps if p.sound == "motor_run" and not p.open_start):
        later = [at_s for at_s in clicks_s if 0.0 <= at_s - pump.onset_s <= _TOO_EARLY_S]
        if later and min(later) + _CLICK_TO_MOTOR_S < pump.offset_s:
            pump.onset_s = min(later) + _CLICK_TO_MOTOR_S


def _no_jet(draft: Draft, noises: list[Draft], tones: list[Draft]) -> bool:
    """Whether what may be a jet is rather a grinder's or a coil's own noise, or the room that grows a little louder."""
    if draft.sound == "blast":
        return any(
            n.sound == "grinder"
            and (
                (n.probability > draft.probability and _together(n, draft))
                # A grinder that is far surer, and outlasts what began with it.
                or (n.probability >= draft.probability + _FAR_SURER and _begins_with(draft, n))
            )
            for n in noises
        )
    if draft.sound != "hiss":
        return False
    ground = [
        n.probability
        for n in noises
        if n.sound == "grinder" and draft.overlap_s(n) > _WITHIN * draft.duration_s
    ]
    if any(p > draft.probability for p in ground):
        return True
    if draft.probability > _DOUBTED_JET:
        return False
    if not (draft.open_start and draft.open_end) and draft.measures["level_db"] < _LEAST_JET_DB:
        return True
    if draft.probability > GOING_ON_SURE:
        return False
    if ground:
        return True
    return any(t.sound in _SWITCHED and t.edge_start and t.edge_end and _together(t, draft) for t in tones)


def _together(one: Draft, other: Draft) -> bool:
    """Whether two sounds begin and end with each other."""
    return abs(one.onset_s - other.onset_s) < _TOGETHER_S and abs(one.offset_s - other.offset_s) < _TOGETHER_S


def _begins_with(draft: Draft, longer: Draft) -> bool:
    """Whether a sound begins with another that outlasts it."""
    return abs(draft.onset_s - longer.onset_s) < _TOGETHER_S and draft.offset_s <= longer.offset_s


def _of_a_train(draft: Draft, impulses: list[Draft], noises: list[Draft]) -> bool:
    """Whether a jet that begins and ends with a train of clicks, or an arc within one or within plain gravel, is the noise of those."""
    trains = [i for i in impulses if i.sound == "click_train"]
    if draft.sound == "arcing":
        drips = [i for i in impulses if i.sound == "drip"]
        gravel = [n for n in noises if n.sound == "gravel" and n.probability >= _PLAIN_GRAVEL]
        return draft.probability <= GOING_ON_SURE and any(
            draft.overlap_s(t) > _WITHIN * draft.duration_s for t in (*trains, *drips, *gravel)
        )
    return draft.sound in ("hiss", "blast") and any(_together(t, draft) for t in trains)


def _cracking(draft: Draft, perhaps_s: np.ndarray, pumps: list[Draft]) -> Draft:
    """Take what may be running water for a grinder where something cracks in it again and again: beans do.

    What is heard from the moment on at which a pump stops was there before, or came with that: no grinder starts then.
    """
    inside = np.sum((perhaps_s > draft.onset_s) & (perhaps_s < draft.offset_s))
    if (
        draft.sound == "water_flow"
        and draft.probability <= _UNSURE_FLOW
        and not any(p.edge_end and abs(p.offset_s - draft.onset_s) <= _AT_PUMP_END_S for p in pumps)
        and inside >= max(_CRACKS, _CRACKS_PER_S * draft.duration_s)
    ):
        draft.sound = "grinder"
    return draft


def _made_of_strokes(draft: Draft, impulses: list[Draft]) -> bool:
    """Whether what may be running water is as well a part that clicks on and on, or things knocked about."""
    if draft.sound != "water_flow" or draft.probability > _UNSURE_FLOW:
        return False
    strokes_s = sum(max(0.0, draft.overlap_s(i)) for i in impulses if i.sound in ("click_train", "clatter"))
    return strokes_s > _STROKES_SHARE * draft.duration_s


def _deep_inside(draft: Draft, others: list[Draft]) -> bool:
    """Whether a click, or a bang that the model does not name, lies in the midst of gravel, whose pops no stroke stands out from.

    A valve that starts or ends the pump clicks where the gravel begins or ends.
    """
    clear = {"click": _CLEAR_OF_GRAVEL, "bang": _NAMED_BANG}
    return draft.probability < clear.get(draft.sound, 0.0) and any(
        o.sound == "gravel" and o.onset_s + _GRAVEL_EDGE_S < draft.onset_s < o.offset_s - _GRAVEL_EDGE_S
        for o in others
    )


def _inside(draft: Draft, others: list[Draft], sounds: tuple[str, ...], of: tuple[str, ...]) -> bool:
    """Whether a draft (of certain words) lies well inside a surer sound that makes such noises itself."""
    if draft.sound not in of:
        return False
    return any(
        o.sound in sounds and o.probability >= draft.probability - 0.2
        and o.onset_s - 0.05 <= draft.onset_s and draft.offset_s <= o.offset_s + 0.05
        for o in others
    )  # fmt: skip
