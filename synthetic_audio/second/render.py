"""From a spec to sound and truth: stems, room, levels, phone, labels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from synthetic_audio.second import echo, flows, line, truth
from synthetic_audio.second.corpus import Corpus, find
from synthetic_audio.second.sources import KINDS
from synthetic_audio.second.spec import RATE_HZ, Event, Label, Scene, Spec
from synthetic_audio.second.stage import Mains, Stage
from synthetic_audio.vocabulary import FAULTS

_AHEAD = RATE_HZ // 20
#: Sounds whose end is where 99 % of their energy has gone by.
_SPENT: frozenset[str] = frozenset({"click", "thump", "burst"})


def render(spec: Spec, corpus: Corpus | None = None) -> Scene:
    """Return the scene of a spec; the same spec and corpus give the same samples.

    Parameters
    ----------
    spec : Spec
    corpus : Corpus, optional
        Where grains are cut from; by default what :func:`synthetic_audio.second.corpus.find` finds.
    """
    corpus = find() if corpus is None else corpus
    n = int(spec.duration_s * RATE_HZ)
    stage = Stage(Mains(spec.mains_hz), corpus)
    quiet = _quiet(n, spec, stage)
    near, far = (
        echo.answer(spec.room, np.random.default_rng([spec.seed, 7, k]), spec.room[key])
        for k, key in enumerate(("near_db", "far_db"))
    )
    stems = [_stem(k, event, spec, stage, quiet, near, far, n) for k, event in enumerate(spec.events)]

    total = line.band(quiet, spec.phone)
    floor = float(np.sqrt((total**2).mean()))
    for event, (low, _, stem, _) in zip(spec.events, stems, strict=True):
        if not event.absent:
            total[low : low + stem.size] += stem
    recorded = line.record(total, spec.phone, floor)
    labels = [
        _label(event, stem, total, recorded.residue)
        for event, stem in zip(spec.events, stems, strict=True)
        if event.sound
    ]
    deciding = tuple(
        label
        for event, label in zip([e for e in spec.events if e.sound], labels, strict=True)
        if event.deciding
    )
    verdict = (
        "cannot_tell" if spec.family == "no_machine" else "abnormal" if spec.family in FAULTS else "normal"
    )
    return Scene(
        samples=recorded.samples,
        rate_hz=int(spec.phone["rate_hz"]),
        labels=truth.merged(labels),
        deciding=deciding,
        story=spec.story,
        machine=spec.machine,
        gauges=spec.gauges,
        family=spec.family,
        verdict=verdict,
        carries=truth.carries(deciding),
        mains_hz=spec.mains_hz,
        hidden=truth.hidden(deciding),
        corpus=corpus.name,
        credits=tuple(sorted({x.credit for x in corpus.noise + corpus.voice + corpus.knocks if x.credit})),
        spec=spec,
    )


def _quiet(n: int, spec: Spec, stage: Stage) -> np.ndarray:
    """Return the empty room and the microphone's own noise, RMS 1, shape (n,), float32."""
    rng = np.random.default_rng([spec.seed, 5])
    room = flows.ambience(n, rng, stage, fall_db=spec.room["fall_db"])
    own = flows.ambience(n, rng, stage, fall_db=0.0)
    both = room + 10 ** (-spec.phone["own_noise_db"] / 20) * own
    return both / np.sqrt((both**2).mean())


def _stem(
    k: int,
    event: Event,
    spec: Spec,
    stage: Stage,
    quiet: np.ndarray,
    near: np.ndarray,
    far: np.ndarray,
    n: int,
) -> tuple[int, float, np.ndarray, float]:
    """Return a stem's first sample, its sound's end (s), the stem in the phone's band, and the share that passed."""
    rng = np.random.default_rng([spec.seed, 11, k])
    low = int(event.start_s * RATE_HZ)
    m = min(int(event.length_s * RATE_HZ), n - low)
    wave = KINDS[event.kind](m, rng, replace(stage, start_s=low / RATE_HZ), **event.values)[: n - low]
    end_s = (
        event.start_s + wave.size / RATE_HZ - 2 * event.values.get("fall_s", 0.0) * (event.kind == "motor")
    )
    if event.sound in _SPENT:
        spent = np.cumsum(wave.astype(float) ** 2)
        end_s = event.start_s + float(np.searchsorted(spent, 0.99 * spent[-1])) / RATE_HZ
    if event.source == "background":
        wet = echo.play(wave, far)[: n - low]
    else:
        wet = echo.play(wave, near)[: n - low]
    span = slice(0, max(int((end_s - event.start_s) * RATE_HZ), 2048))
    now_db = truth.standing_db(wet[span], quiet[low:][: wet[span].size], event.sound or "other")
    wet *= 10 ** ((event.over_db - now_db) / 20)
    # The mask has no delay, so it rings a little before a sudden start: leave room for that.
    ahead = min(low, _AHEAD)
    heard = line.band(np.pad(wet, (ahead, _AHEAD)), spec.phone)[: n - low + ahead]
    passed = float((heard.astype(float) ** 2).sum() / max((wet.astype(float) ** 2).sum(), 1e-20))
    return low - ahead, end_s, heard, min(passed, 1.0)


def _label(
    event: Event, made: tuple[int, float, np.ndarray, float], total: np.ndarray, residue: np.ndarray
) -> Label:
    """Return an event's label, its SNR taken over its span against all the rest and what the phone added."""
    first, end_s, stem, passed = made
    low = int(event.start_s * RATE_HZ)
    stem = stem[low - first :][: max(int((end_s - event.start_s) * RATE_HZ), 2048)]
    span = slice(low, low + stem.size)
    rest = total[span] + residue[span] - (0 if event.absent else stem)
    return Label(
        sound=event.sound,
        onset_s=round(event.start_s, 4),
        offset_s=round(end_s, 4),
        snr_db=round(truth.standing_db(stem, rest, event.sound), 2),
        source=event.source,
        passed_share=round(passed, 4),
        absent=event.absent,
    )
