"""Turn a spec into sound and truth.

Conventions
-----------
Stems are at 48 kHz as they reach the microphone, keyed by the vocabulary's
word, backgrounds by ``background:<source>``. Without a phone their sum is the
clip. Every event has its own generator, so that leaving one out does not
change the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.signal import oaconvolve

from synthetic_audio import phone as phone_chain
from synthetic_audio.randomness import generator
from synthetic_audio.room import impulse_response
from synthetic_audio.sources import BACKGROUND, PEAK, SOURCES
from synthetic_audio.spec import Event, Spec
from synthetic_audio.truth import Label, carries, erased_by, judge

RATE_HZ = 48_000
PEAK_LIMIT = 0.9
#: Clicks closer than this are one command (a relay and the valve it drives).
ONE_COMMAND_S = 0.06


@dataclass(frozen=True, slots=True)
class Scene:
    """A rendered scene with its truth.

    Attributes
    ----------
    samples : np.ndarray [shape=(n,)], float32
        Mono, within -1..1, at `rate_hz`.
    labels : list of Label
        All that can be heard in it, by onset.
    deciding : list of Label
        What the verdict rests on; those with `absent` are not in the clip.
    story : list of (float, str)
        What was done, and in which state, from the start of the clip.
    carries : bool
        Whether the clip can carry its verdict (see :mod:`synthetic_audio.truth`).
    hidden : tuple of str
        Sounds that the phone's noise suppression takes away.
    stems : dict of str to np.ndarray [shape=(m,)], float32
        At 48 kHz.
    """

    samples: np.ndarray
    rate_hz: int
    labels: list[Label]
    deciding: list[Label]
    story: list[tuple[float, str]]
    machine: dict[str, Any]
    gauges: dict[str, float]
    family: str
    verdict: str
    carries: bool
    hidden: tuple[str, ...]
    mains_hz: float
    spec: Spec
    stems: dict[str, np.ndarray]


@dataclass(frozen=True, slots=True)
class Backdrop:
    """A recording that is heard behind a scene.

    Attributes
    ----------
    samples : np.ndarray [shape=(m,)], float32
        At 48 kHz and at the level at which it reaches the microphone.
    spans : tuple of (str, float, float)
        What is heard in it: word, onset and offset in s.
    """

    samples: np.ndarray
    spans: tuple[tuple[str, float, float], ...] = ()


#: Key of a backdrop's stem.
RECORDED = "background:recorded"


def _loudness(wave: np.ndarray, source: str) -> float:
    if source in PEAK:
        return float(np.max(np.abs(wave), initial=0.0))
    block = RATE_HZ // 4
    if len(wave) <= block:
        return float(np.sqrt(np.mean(wave.astype(float) ** 2))) if len(wave) else 0.0
    whole = len(wave) // block * block
    return float(np.sqrt(np.max(np.mean(wave[:whole].astype(float).reshape(-1, block) ** 2, axis=1))))


def stem_name(event: Event) -> str:
    """Return the key under which an event's sound is kept."""
    if event.source in BACKGROUND or event.where != "machine":
        return f"background:{event.source}"
    return event.sound or event.source


def _play(spec: Spec, index: int, event: Event, responses: dict[str, np.ndarray]) -> np.ndarray:
    rng = generator(spec.seed, spec.split, spec.family, "event", index)
    if event.source not in SOURCES:
        raise ValueError(f"Unknown source {event.source!r} in the spec: use one of {', '.join(SOURCES)}.")
    params = {"mains_hz": spec.mains_hz, **event.params, "at_s": event.at_s}
    wave = SOURCES[event.source](rng, RATE_HZ, event.for_s, params)
    wave = wave * (10 ** (event.level_db / 20) / (_loudness(wave, event.source) + 1e-12))
    response = responses.get(event.where)
    return wave if response is None else oaconvolve(wave, response)


def _responses(spec: Spec) -> dict[str, np.ndarray]:
    if spec.room is None:
        return {}
    rng = generator(spec.seed, spec.split, spec.family, "room")
    volume, rt60, near = spec.room["volume_m3"], spec.room["rt60_s"], spec.room["distance_m"]
    far = max(1.2, 3 * near)
    machine = impulse_response(rng, RATE_HZ, volume, rt60, near)
    room = impulse_response(rng, RATE_HZ, volume, rt60, far)
    # The level of an event is that of all that arrives, direct and reflected.
    return {"machine": machine, "room": room / np.sqrt(np.sum(room**2))}


def _merge(spans: list[tuple[str, str, str, float, float]]) -> list[tuple[str, str, str, float, float]]:
    """Join spans of one sound in one stem that overlap, and clicks of one command."""
    out: list[tuple[str, str, str, float, float]] = []
    for span in sorted(spans, key=lambda s: (s[0], s[1], s[3])):
        near = ONE_COMMAND_S if span[0] == "click" else 0.0
        if out and out[-1][:2] == span[:2]:
            last = out[-1]
            gap = span[3] - (last[3] if span[0] == "click" else last[4])
            if gap <= near:
                out[-1] = (*last[:4], max(last[4], span[4]))
                continue
        out.append(span)
    return out


def _span(event: Event, duration_s: float) -> tuple[float, float]:
    onset = max(0.0, event.at_s)
    return onset, min(duration_s, event.at_s + event.for_s + event.params.get("after_s", 0.0))


def render(spec: Spec, backdrop: Backdrop | None = None) -> Scene:
    """Render a scene.

    Parameters
    ----------
    spec : Spec
    backdrop : Backdrop, optional
        A recording behind it, before the phone's chain; cut or padded to the scene's length.

    Returns
    -------
    Scene
        The same spec gives the same bytes.

    Raises
    ------
    ValueError
        When an event names a source that does not exist.
    """
    n = round(spec.duration_s * RATE_HZ)
    responses = _responses(spec)
    stems: dict[str, np.ndarray] = {}
    missing: dict[int, np.ndarray] = {}
    for index, event in enumerate(spec.events):
        start = round(event.at_s * RATE_HZ)
        wave = _play(spec, index, event, responses)
        wave = wave[max(0, -start) : max(0, n - start)]
        start = max(0, start)
        if event.absent:
            missing[index] = np.zeros(n, np.float32)
            missing[index][start : start + len(wave)] = wave
            continue
        name = stem_name(event)
        if name not in stems:
            stems[name] = np.zeros(n, np.float32)
        stems[name][start : start + len(wave)] += wave.astype(np.float32)
    if backdrop is not None:
        stems[RECORDED] = np.zeros(n, np.float32)
        stems[RECORDED][: len(backdrop.samples)] = backdrop.samples[:n]
    mix = np.zeros(n, np.float32)
    for stem in stems.values():
        mix += stem
    peak = float(np.max(np.abs(mix), initial=0.0))
    gain = np.float32(min(1.0, PEAK_LIMIT / peak) if peak > 0 else 1.0)
    if gain < 1:
        mix *= gain
        for stem in (*stems.values(), *missing.values()):
            stem *= gain
    behind = backdrop.spans if backdrop is not None else ()
    labels, deciding = _labels(spec, stems, missing, mix, behind)
    hidden: tuple[str, ...] = ()
    samples, rate_hz = mix, RATE_HZ
    if spec.phone is not None:
        rng = generator(spec.seed, spec.split, spec.family, "phone")
        samples, rate_hz = phone_chain.through_phone(mix, RATE_HZ, spec.phone, rng)
        if spec.phone["suppression"]:
            hidden = tuple(sorted({x.sound for x in labels if erased_by(spec.phone, x)}))
    return Scene(
        samples=np.ascontiguousarray(samples, np.float32),
        rate_hz=rate_hz,
        labels=labels,
        deciding=deciding,
        story=list(spec.story),
        machine=dict(spec.machine),
        gauges=dict(spec.gauges),
        family=spec.family,
        verdict=spec.verdict,
        carries=carries(deciding, spec.phone),
        hidden=hidden,
        mains_hz=spec.mains_hz,
        spec=spec,
        stems=stems,
    )


def _labels(
    spec: Spec,
    stems: dict[str, np.ndarray],
    missing: dict[int, np.ndarray],
    mix: np.ndarray,
    behind: tuple[tuple[str, float, float], ...],
) -> tuple[list[Label], list[Label]]:
    spans, decisive = [], []
    for event in spec.events:
        if event.sound is None or event.absent:
            continue
        name = stem_name(event)
        onset, offset = _span(event, spec.duration_s)
        if offset <= onset:
            continue
        source = "background" if name.startswith("background:") else "machine"
        spans.append((event.sound, name, source, onset, offset))
        if event.deciding:
            decisive.append((event.sound, name, onset, offset))
    spans += [
        (sound, RECORDED, "background", max(0.0, onset), min(spec.duration_s, offset))
        for sound, onset, offset in behind
        if onset < spec.duration_s
    ]
    labels, deciding = [], []
    for sound, name, source, onset, offset in _merge(spans):
        snr, passed = judge(sound, stems[name], mix - stems[name], onset, offset, RATE_HZ, spec.phone)
        label = Label(sound, round(onset, 4), round(offset, 4), round(snr, 2), source, round(passed, 4))
        labels.append(label)
        if any(d[:2] == (sound, name) and d[2] < offset and d[3] > onset for d in decisive):
            deciding.append(label)
    for index, wave in missing.items():
        event = spec.events[index]
        onset, offset = _span(event, spec.duration_s)
        snr, passed = judge(event.sound or "other", wave, mix, onset, offset, RATE_HZ, spec.phone)
        if event.deciding:
            deciding.append(
                Label(
                    event.sound or "other",
                    round(onset, 4),
                    round(offset, 4),
                    round(snr, 2),
                    "machine",
                    round(passed, 4),
                    True,
                )
            )
    return sorted(labels, key=lambda x: (x.onset_s, x.sound)), sorted(
        deciding, key=lambda x: (x.onset_s, x.sound)
    )
