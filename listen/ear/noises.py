"""Hiss, blast, burst, boiling, flow, voices and kitchen noise from the texture model.

The model says what a second of sound is like; where a sound begins, ends, how
far it stands above the clip's own floor and how fast it rose is measured.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from listen.ear.beginnings import RANGE_HZ, hear_beginnings
from listen.ear.bundle import Head
from listen.ear.discharges import tell_discharges
from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.rough_pumps import hear_rough_pumps
from listen.ear.steps import runs, step_times
from listen.features.around import texture_inputs
from listen.features.collect import BANDS_K, ClipFeatures
from listen.features.starts import Starts, find_starts
from listen.features.textures import CELLS, HOP, SEGMENT_HOP_S, SEGMENT_S, Segments
from listen.spectra import CELL_S

#: Probability at which a texture counts, and at which it is held once it counts.
ENTER, HOLD = 0.5, 0.35
#: A word that the model hardly ever gives to anything else counts from less, where the noise vouches for it (arcing, `confirm_arcs`), or
#: alone (splutter: of some 4,400 training scenes, unscored ones of the second generator and recordings without it 5 reached 0.20).
#: From where, and held to where; how sure it then is, is an estimate, kept low: brushed motors spark as well (seen on the score sheet).
_TELLS_EARLY, _EARLY_SURE = {"arcing": (0.10, 0.06), "splutter": (0.20, 0.12)}, 0.55
#: What so tells early, and lies so far under what is around it, is a trifle of something else: a drip, a cup (training scenes: one
#: false arc at -9 dB, no true one below -2; a drip behind a pump was taken for arcs on the held-out stop scenes too).
_EARLY_LEAST_DB = -5.0
#: Words that block others need more.
_ENTER_MORE = {"grinder": 0.7, "music": 0.6}
#: Shortest span per texture, s; what is not named here needs half a second.
_SHORTEST_S = {
    "burst": 0.15,
    "blast": 0.8,
    "hiss": 0.6,
    "boil": 2.0,
    "fan": 2.0,
    "grinder": 0.8,
    "music": 1.5,
    "water_flow": 0.8,
    "gravel": 1.2,
}
_LONGEST_BURST_S = 3.0
_BLAST_RISE_DB, _BLAST_RISE_MS = 10.0, 200.0
#: The same where the model is sure of a jet.
_PLAIN_BLAST_RISE_DB = 6.0
#: Third octave that a jet still fills (common practice: jets are broad), Hz.
_BLAST_REACHES_HZ = 3000.0
#: Pauses that one lasting sound may have, s.
_JOIN_S = {
    "hiss": 1.0,
    "blast": 0.6,
    "boil": 2.0,
    "fan": 3.0,
    "water_flow": 1.0,
    "grinder": 0.8,
    "music": 2.0,
    "speech": 0.5,
    "gravel": 0.5,
}
#: Ranges whose steps bound a sound, Hz.
_BOUNDS_HZ = {
    **RANGE_HZ,
    "gravel": (1000.0, 10000.0),
}
_DEFAULT_BOUNDS_HZ = (160.0, 12500.0)
#: Where in its first second a sound begins, s: a pump's own edge, near that of gravel, is the higher step.
_WITHIN_S = {"gravel": (0.25, 0.85)}
#: What is never loud against its surroundings is told by going on: smoothed over 2.3 s it is at least `hold` in
#: each and `mean` in all of that many segments, and hardly less likely than any other word.
_GOING_ON = {
    "water_flow": (0.10, 0.15, 16),
    "arcing": (0.20, 0.30, 3),
    "boil": (0.15, 0.22, 12),
    "hiss": (0.12, 0.18, 8),
}
#: The same, smoothed over 4.3 s: fainter still, and that many times as likely as any other word (the first number).
_GOING_ON_FAINTLY = {"water_flow": ((1.0, 0.07, 0.10, 40), (3.0, 0.06, 0.08, 24))}
#: As `_GOING_ON`, for a word that tells early, and no surer than that.
_GOING_ON_EARLY = {"arcing": (0.05, 0.075, 4)}
#: An estimate, kept low: no single second vouches for such a span.
GOING_ON_SURE = 0.6
_SMOOTH_SEGMENTS, _GOING_ON_GAP, _LIKELY_SHARE, _PLAIN_SHARE = 9, 3, 0.75, 0.5
_FAINT_SMOOTH_SEGMENTS = 17
#: What runs on evenly is followed to both sides while its level stays and the model does not rule it out.
_EVEN, _EVEN_DB, _NOT_RULED_OUT = ("water_flow", "boil", "hiss", "blast"), 3.0, 0.04
#: How far its level may drift in all, dB, and over how many segments it is near itself (2 s).
_DRIFT_DB, _NEAR = 8.0, 8
#: What is left of a clip before or behind it, in segments (1.5 s).
_LAST = 6
#: Jets, and the least mean of their probabilities over what began like one: a tap or a grinder has none.
_JETS, _LEAST_JET = ("blast", "hiss"), 0.25
#: From here the model is sure of a jet.
_PLAIN_JET = 0.9
#: How far gravel may seem to reach into a release, s.
_FOLLOWS_S = 1.2
#: Gravel that much surer than a jet within it makes the jet's noise itself.
_PLAINER = 0.2
#: How near to gravel's beginning a jet begins with it, s, and how much surer the gravel is then.
_BEGINS_WITH_GRAVEL_S, _NEARLY_PLAINER = 0.3, 0.15
#: What goes on so long behind a release is a jet of its own, if it begins with it, s, or stands so far over the quietest second, dB (estimates).
_OUTLASTS_S, _BEGINS_WITH_S, _NEW_DB = 5.0, 1.0, 6.0
_FRAME_MS = CELL_S * 250.0


def hear_noises(
    features: ClipFeatures,
    segments: Segments,
    head: Head,
    starts_head: Head | None = None,
    pumps: Sequence[Draft] = (),
) -> list[Draft]:
    """Name the textures of a clip.

    Parameters
    ----------
    features : ClipFeatures
    segments : Segments
    head : Head
        The model's part for textures; its labels are ear words.
    starts_head : Head, optional
        Its part for beginnings, where it has one.
    pumps : sequence of Draft
        The pumps and motors heard in the clip.
    """
    if not len(segments.values):
        return []
    levels = LevelTracks(features)
    seen = head.probabilities(texture_inputs(features, segments))
    probability = _smoothed(seen)
    drafts = []
    for column, sound in enumerate(head.labels):
        p = probability[:, column]
        enter, hold = _TELLS_EARLY.get(sound, (_ENTER_MORE.get(sound, ENTER), HOLD))
        alike = _alike(head.labels, sound)
        spans = _hysteresis(p, enter, hold)
        if sound in _GOING_ON_EARLY:
            spans += _going_on(probability, alike, _SMOOTH_SEGMENTS, _LIKELY_SHARE, *_GOING_ON_EARLY[sound])
        lasting = _lasting(probability, alike, sound)
        # Where most of it is plain, the plain spans have the truer edges.
        edges = [(a, b) for a, b in lasting if _covered(spans, a, b) < _PLAIN_SHARE * (b - a)]
        cores = _union(spans + edges)
        whole = cores
        if sound in _EVEN and cores:
            level = _segment_levels(levels, len(p), *_BOUNDS_HZ.get(sound, _DEFAULT_BOUNDS_HZ))
            whole = _union([_followed(level, p, a, b) for a, b in cores])
        for first, stop in whole:
            draft = _bounded(sound, levels, segments, p, first, stop)
            if draft is not None:
                # What a sound was followed to says nothing of how sure it is.
                draft.probability = max(_surest(p, a, b) for a, b in cores if first <= a and b <= stop)
                if sound in _TELLS_EARLY and draft.probability < _EARLY_SURE:
                    if draft.measures["level_db"] < _EARLY_LEAST_DB:
                        continue
                    draft.probability = _EARLY_SURE
                if any(a < stop and first < b for a, b in lasting):
                    draft.probability = max(draft.probability, GOING_ON_SURE)
                drafts.append(draft)
    for draft in hear_rough_pumps(head.labels, probability, segments, levels, pumps):
        if not any(d.sound == "gravel" and d.overlap_s(draft) > 0.0 for d in drafts):
            draft.measures = _measures("gravel", levels, draft.onset_s, draft.offset_s, *_BOUNDS_HZ["gravel"])
            drafts.append(draft)
    if starts_head is not None:
        jets = [head.labels.index(word) for word in _JETS if word in head.labels]
        starts = find_starts(features)
        drafts += _begun(levels, segments, probability[:, jets].sum(axis=1), starts, starts_head)
        if "burst" in head.labels:
            tell_discharges(pumps, segments, seen[:, head.labels.index("burst")], starts, starts_head)
    return _ended_by_releases(_rejoined(_settle(drafts)))


def _ended_by_releases(drafts: list[Draft]) -> list[Draft]:
    """End gravel where the release begins that follows on its pump: both crackle, one behind the other."""
    for gravel in (d for d in drafts if d.sound == "gravel"):
        for release in (d for d in drafts if d.sound == "burst"):
            if (
                gravel.offset_s - _FOLLOWS_S
                < release.onset_s
                < gravel.offset_s
                <= release.offset_s + _FOLLOWS_S
            ):
                gravel.offset_s, gravel.open_end = max(release.onset_s, gravel.onset_s + CELL_S), False
    return drafts


def _begun(
    levels: LevelTracks, segments: Segments, jet: np.ndarray, starts: Starts, head: Head
) -> list[Draft]:
    """Sounds named by how they begin; one that lasts must also be something of a jet while it does."""
    drafts = []
    for draft in hear_beginnings(starts, levels, head):
        inside = (segments.starts_s + SEGMENT_S / 2 >= draft.onset_s) & (
            segments.starts_s + SEGMENT_S / 2 <= draft.offset_s
        )
        lasting = draft.sound in _JETS
        if draft.duration_s < _SHORTEST_S[draft.sound] or (
            lasting and not (inside.any() and jet[inside].mean() >= _LEAST_JET)
        ):
            continue
        draft.measures = _measures(
            draft.sound, levels, draft.onset_s, draft.offset_s, *_BOUNDS_HZ[draft.sound]
        )
        drafts.append(draft)
    return drafts


def _smoothed(probability: np.ndarray) -> np.ndarray:
    """Median of three segments, so that one odd second makes no sound."""
    if len(probability) < 3:
        return probability
    padded = np.pad(probability, ((1, 1), (0, 0)), mode="edge")
    return np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)


def _hysteresis(p: np.ndarray, enter: float, hold: float) -> list[tuple[int, int]]:
    return [(a, b) for a, b in runs(p >= hold) if p[a:b].max() >= enter]


def _alike(labels: Sequence[str], sound: str) -> list[int]:
    """Columns that speak for a sound: while a jet goes on, a hiss and a blast differ in nothing."""
    return [n for n, word in enumerate(labels) if word == sound or (sound == "hiss" and word == "blast")]


def _lasting(probability: np.ndarray, columns: list[int], sound: str) -> list[tuple[int, int]]:
    """Spans in which a sound is told by going on."""
    spans = []
    if sound in _GOING_ON:
        spans += _going_on(probability, columns, _SMOOTH_SEGMENTS, _LIKELY_SHARE, *_GOING_ON[sound])
    for limits in _GOING_ON_FAINTLY.get(sound, ()):
        spans += _going_on(probability, columns, _FAINT_SMOOTH_SEGMENTS, *limits)
    return _union(spans)


def _going_on(
    probability: np.ndarray,
    columns: list[int],
    smooth: int,
    share: float,
    hold: float,
    mean: float,
    least: int,
) -> list[tuple[int, int]]:
    if len(probability) < smooth:
        return []
    half = smooth // 2
    own, best_other = (
        np.convolve(np.pad(track, half, mode="edge"), np.full(smooth, 1 / smooth), "valid")
        for track in (
            probability[:, columns].sum(axis=1),
            np.delete(probability, columns, axis=1).max(axis=1, initial=0.0),
        )
    )
    likely = (own >= hold) & (own >= share * best_other)
    return [(a, b) for a, b in runs(likely, gap=_GOING_ON_GAP) if b - a >= least and own[a:b].mean() >= mean]


def _segment_levels(levels: LevelTracks, k: int, low_hz: float, high_hz: float) -> np.ndarray:
    cells = levels.level_db(low_hz, high_hz)
    cells = np.pad(cells, (0, max(0, CELLS - len(cells))), mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(cells, CELLS)[::HOP][:k], axis=1)


def _followed(level: np.ndarray, p: np.ndarray, first: int, stop: int) -> tuple[int, int]:
    """Return a span with what lies beside it at the same level, as far as the model lets it.

    The level may drift: it stays near that of the seconds that the span was followed to last.
    What is left to an end of the clip is too little for the model to rule it out, while the level stays.
    """
    lowest_db = float(np.median(level[first:stop])) - _DRIFT_DB
    stays = (level >= lowest_db) & (p >= _NOT_RULED_OUT)
    while first > 0 and stays[first - 1]:
        if level[first - 1] < _near_db(level[first : min(stop, first + _NEAR)]) - _EVEN_DB:
            break
        first -= 1
    while stop < len(p) and stays[stop]:
        if level[stop] < _near_db(level[max(first, stop - _NEAR) : stop]) - _EVEN_DB:
            break
        stop += 1
    if 0 < first <= _LAST and np.all(
        np.abs(level[:first] - _near_db(level[first : first + _NEAR])) <= _EVEN_DB
    ):
        first = 0
    rest = level[stop:]
    if 0 < len(rest) <= _LAST and np.all(
        np.abs(rest - _near_db(level[max(first, stop - _NEAR) : stop])) <= _EVEN_DB
    ):
        stop = len(p)
    return first, stop


def _near_db(level: np.ndarray) -> float:
    """Level of a few seconds; those that hold only part of a sound do not lower it."""
    return float(np.percentile(level, 75))


def _surest(p: np.ndarray, first: int, stop: int) -> float:
    """Mean probability of the surer half of some segments."""
    return float(np.mean(np.sort(p[first:stop])[-max(1, (stop - first) // 2) :]))


def _covered(spans: list[tuple[int, int]], start: int, stop: int) -> int:
    return sum(max(0, min(b, stop) - max(a, start)) for a, b in spans)


def _union(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for start, stop in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(stop, joined[-1][1]))
        else:
            joined.append((start, stop))
    return joined


def _bounded(
    sound: str, levels: LevelTracks, segments: Segments, p: np.ndarray, first: int, stop: int
) -> Draft | None:
    features = levels.features
    start_s = float(segments.starts_s[first])
    end_s = min(float(segments.starts_s[stop - 1]) + SEGMENT_S, features.duration_s)
    low_hz, high_hz = _BOUNDS_HZ.get(sound, _DEFAULT_BOUNDS_HZ)
    tracks = levels.bands(low_hz, high_hz)
    margin = SEGMENT_S
    open_start, open_end = first == 0, stop >= len(p)
    onset, offset = start_s, end_s
    if len(tracks) > 8:
        early, late = _WITHIN_S.get(sound, (-SEGMENT_HOP_S, margin))
        # A jet breaks out where the model becomes sure of it; what it was taken for before that is the heating's noise.
        sure_from = first + int(np.argmax(p[first:stop] >= _PLAIN_JET)) if sound == "blast" else first
        latest_s = float(segments.starts_s[sure_from]) + late
        at, height = step_times(
            tracks, max(0.0, start_s + early), min(latest_s, max(end_s, start_s + early)), rising=True
        )
        if height >= 3.0 and not (open_start and at < 2.5 * CELL_S):
            onset, open_start = at, False
        at, height = step_times(tracks, max(onset, end_s - late), max(onset, end_s - early), rising=False)
        if height >= 3.0 and at > onset + CELL_S and not (open_end and at > features.duration_s - 3 * CELL_S):
            offset, open_end = at, False
    onset, offset = (0.0 if open_start else onset), (features.duration_s if open_end else offset)
    sure = _surest(p, first, stop)
    if offset - onset < _SHORTEST_S.get(sound, 0.5):
        if sure < ENTER:
            return None
        # The steps were those of something else beside it.
        onset, offset = start_s + SEGMENT_S / 2, end_s - SEGMENT_S / 2
        if offset - onset < _SHORTEST_S.get(sound, 0.5):
            return None
    measures = _measures(sound, levels, onset, offset, low_hz, high_hz)
    return Draft(
        sound,
        onset,
        offset,
        sure,
        measures,
        open_start,
        open_end,
    )


def _measures(
    sound: str, levels: LevelTracks, onset: float, offset: float, low_hz: float, high_hz: float
) -> dict[str, float]:
    features = levels.features
    level = levels.level_db(low_hz, high_hz)
    inside = levels.between(onset, offset)
    if inside.stop <= inside.start:
        at = min(len(level) - 1, inside.start)
        inside = slice(at, at + 1)
    floor = levels.floor_outside(low_hz, high_hz, onset, offset)
    measures = {"level_db": float(np.median(level[inside])) - floor}
    if sound in ("water_flow", "hiss"):
        told = {
            "over_quiet_db": levels.over_quiet_db(low_hz, high_hz, onset, offset),
            "fall_db": levels.fall_db(low_hz, high_hz, onset, offset),
        }
        measures |= {name: db for name, db in told.items() if np.isfinite(db)}
    if sound in ("splutter",):
        measures["rate_hz"] = _rate_hz(features, inside)
    if sound not in ("hiss", "blast", "burst", "boil", "gravel"):
        return measures
    bands = 10 ** (features.bands_db[inside] / 10)
    mids = 1000.0 * 10 ** (np.array(BANDS_K) / 10)
    audible = mids >= 400.0
    mean = bands[:, audible].mean(axis=0)
    centroid = float(np.sum(mean * mids[audible]) / np.sum(mean))
    seconds = np.arange(inside.stop - inside.start) * CELL_S
    # Edge cells hold only part of the sound and would tilt the line.
    steady = slice(2, -2)
    growth = (
        float(np.polyfit(seconds[steady], level[inside][steady], 1)[0] * 60)
        if inside.stop - inside.start >= 24
        else 0.0
    )
    if sound == "boil":
        return measures | {"growth_db_per_min": growth}
    if sound == "gravel":
        return measures | {"roughness": float(np.mean(features.spread_db[inside]))}
    measures["centroid_hz"] = centroid
    if sound != "burst":
        measures["roughness"] = float(np.mean(features.spread_db[inside]))
    if sound == "burst":
        loudest = int(np.argmax(level[inside]))
        after = level[inside][loudest:]
        below = np.flatnonzero(after < after[0] - 10.0)
        return measures | {"decay_ms": float((below[0] if len(below) else len(after)) * CELL_S * 1000)}
    present = mids[audible][mean > mean.max() * 0.05]
    rise_ms, fall_ms = _edges_ms(features, onset, offset)
    return measures | {
        "low_hz": float(present.min()), "high_hz": float(present.max()),
        "rise_ms": rise_ms, "fall_ms": fall_ms, "growth_db_per_min": growth,
    }  # fmt: skip


def _edges_ms(features: ClipFeatures, onset: float, offset: float) -> tuple[float, float]:
    """Rise and fall between a tenth and nine tenths of the height in dB, from 16 ms frames."""
    frames = features.envelope_db.reshape(-1)
    frame_s = CELL_S / 4

    def edge(at: float, rising: bool) -> float:
        low, high = int(max(0.0, at - 1.2) / frame_s), int((at + 1.2) / frame_s)
        piece = frames[low:high]
        if len(piece) < 12:
            return 0.0
        piece = piece if rising else piece[::-1]
        smooth = np.convolve(piece, np.ones(3) / 3, mode="same")[1:-1]
        third = max(2, len(smooth) // 3)
        bottom, top = float(np.median(smooth[:third])), float(np.median(smooth[-third:]))
        if top - bottom < 4.0:
            return 1200.0
        over_top = np.flatnonzero(smooth >= bottom + 0.8 * (top - bottom))
        if not len(over_top):
            return 0.0
        under = np.flatnonzero(smooth[: over_top[0] + 1] <= bottom + 0.2 * (top - bottom))
        if not len(under):
            return 0.0
        return float((over_top[0] - under[-1]) * _FRAME_MS)

    return edge(onset, True), edge(offset, False)


def _rate_hz(features: ClipFeatures, inside: slice) -> float:
    series = features.envelope_db[inside].reshape(-1)
    if len(series) < 32:
        return 0.0
    series = series - series.mean()
    power = np.abs(np.fft.rfft(series * np.hanning(len(series)))) ** 2
    hz = np.fft.rfftfreq(len(series), CELL_S / 4)
    band = (hz >= 2.0) & (hz <= 30.0)
    return float(hz[band][np.argmax(power[band])]) if band.any() else 0.0


def _rejoined(drafts: list[Draft]) -> list[Draft]:
    """Put together the pieces of one lasting sound that faded or was covered for a moment."""
    out: list[Draft] = []
    for draft in sorted(drafts, key=lambda d: (d.sound, d.onset_s)):
        last = out[-1] if out else None
        if (
            last is None
            or last.sound != draft.sound
            or draft.onset_s - last.offset_s > _JOIN_S.get(draft.sound, 0.0)
        ):
            out.append(draft)
            continue
        ends = draft.measures
        weight = draft.duration_s / max(draft.duration_s + last.duration_s, 1e-9)
        last.measures = {
            # How it began is told by the first piece, how it ended by the last.
            name: value
            if name == "rise_ms"
            else ends[name]
            if name in ("fall_ms", "fall_db")
            else (1 - weight) * value + weight * ends[name]
            for name, value in last.measures.items()
            if name in ends
        }
        if draft.offset_s > last.offset_s:
            last.offset_s, last.open_end = draft.offset_s, draft.open_end
        last.probability = max(last.probability, draft.probability)
    return out


def _is_gravels_own(draft: Draft, other: Draft) -> bool:
    """Whether a jet that is hardly heard lies within gravel that is plain, or begins with one nearly so plain: its own broad noise."""
    plainer = _NEARLY_PLAINER if abs(draft.onset_s - other.onset_s) <= _BEGINS_WITH_GRAVEL_S else _PLAINER
    return (
        other.sound == "gravel"
        and other.probability >= draft.probability + plainer
        and draft.overlap_s(other) > 0.8 * draft.duration_s
    )


def _is_an_arcs(draft: Draft, other: Draft) -> bool:
    """Whether a jet lies within an arc that is at least as plain: its own noise."""
    return (
        other.sound == "arcing"
        and other.probability >= draft.probability
        and draft.overlap_s(other) > 0.8 * draft.duration_s
    )


def _outlasts(draft: Draft, other: Draft) -> bool:
    """Whether a jet that begins with a release, or was not always there, goes on so long behind it that it is no part of it."""
    return (
        draft.sound in _JETS
        and other.sound == "burst"
        and (
            draft.onset_s >= other.onset_s - _BEGINS_WITH_S
            or draft.measures.get("over_quiet_db", 0.0) >= _NEW_DB
        )
        and draft.offset_s - other.offset_s >= _OUTLASTS_S
    )


def _settle(drafts: list[Draft]) -> list[Draft]:
    """Make the words exclude each other where the sounds do."""
    out = []
    for draft in drafts:
        m = draft.measures
        if draft.sound == "burst" and draft.duration_s > _LONGEST_BURST_S:
            continue
        sudden = m.get("rise_ms", 1200.0) <= _BLAST_RISE_MS or draft.open_start
        if draft.sound == "blast" and m["high_hz"] < _BLAST_REACHES_HZ:
            # A jet is broad, through a telephone too; barks, sneezes and shouts are not.
            continue
        rises_db = _PLAIN_BLAST_RISE_DB if draft.probability >= _PLAIN_JET else _BLAST_RISE_DB
        if draft.sound == "blast" and not (sudden and m["level_db"] >= rises_db):
            # What rises slowly or little is a hiss, whatever its colour.
            draft.sound = "hiss"
        out.append(draft)
    out.sort(key=lambda d: -d.probability)
    kept: list[Draft] = []
    exclusive = {"hiss", "blast", "burst"}
    for draft in out:
        if draft.sound in _JETS and any(_is_gravels_own(draft, o) or _is_an_arcs(draft, o) for o in out):
            continue
        rivals = [
            other
            for other in kept
            if draft.sound in exclusive
            and other.sound in exclusive
            and draft.overlap_s(other) > 0.5 * min(draft.duration_s, other.duration_s)
        ]
        if all(_outlasts(draft, other) for other in rivals):
            kept.append(draft)
    return kept
