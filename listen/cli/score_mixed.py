"""Synthesised faults over real recordings of the test fold: what surrounds a machine is real, the fault is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from listen.cli.score_real import read_mono
from listen.cli.score_sets import labels_of, wav
from listen.learn.score.truth import TruthClip, TruthLabel

#: Faults that show within the few seconds of a recording.
MIXED = ("stalled_motor", "starved_pump", "lasting_hiss", "blast", "solenoid_buzz", "chatter")
#: How far a fault stands over its recording; the shortest recording that is repeated behind one.
OVER_DB, LEAST_S, FIRST_SEED, SEAM_S, PEAK = 10.0, 3.0, 3_800_000, 0.05, 0.9


def mixed_entries(folder: Path, real: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """List the recordings that are long enough, the first clip of each, behind the faults in turn."""
    import soundfile

    firsts = {entry["recording"]: entry for entry in reversed(real)}
    long = [
        firsts[name]
        for name in sorted(firsts)
        if soundfile.info(folder / firsts[name]["path"]).duration >= LEAST_S
    ]
    return [{**e, "what": MIXED[n % len(MIXED)], "seed": FIRST_SEED + n} for n, e in enumerate(long)]


def repeat_to(samples: np.ndarray, n: int, rate_hz: int) -> np.ndarray:
    """Repeat a recording to n samples, its seams faded over SEAM_S so that they are no clicks."""
    seam = int(SEAM_S * rate_hz)
    fade = np.sqrt(np.linspace(0, 1, seam, dtype=np.float32))
    out = samples.astype(np.float32)
    while len(out) < n:
        joined = out[-seam:] * fade[::-1] + samples[:seam] * fade
        out = np.concatenate([out[:-seam], joined, samples[seam:]]).astype(np.float32)
    return out[:n]


def mixed_clip(entry: Mapping[str, Any], folder: Path) -> TruthClip:
    """Return a synthesised fault over a real recording; its truth is computed from both.

    The fault's loudest quarter of a second stands OVER_DB over that of the recording.
    What is heard in the recording is free to be heard anywhere.
    """
    from synthetic_audio.truth import carries

    what = entry["what"]
    scene, labels, deciding, both, rate_hz = fault_over(
        entry["seed"], what, "held_out", folder / entry["path"]
    )
    length_s = len(both) / rate_hz
    free = [
        TruthLabel(word, 0.0, length_s, source="background", erased=True)
        for word in dict.fromkeys([*entry["sounds"], *entry["may"]])
    ]
    return TruthClip(
        name=f"{what}-over-{Path(entry['path']).stem}", group=entry["recording"], duration_s=length_s,
        labels=[*labels_of(labels), *free], family=what, verdict=scene.verdict, carries=carries(deciding, None),
        audio=wav(both, rate_hz), story=[(float(t), str(w)) for t, w in scene.story],
        machine=scene.machine, gauges=scene.gauges, how=dict(entry), credit=entry["credit"], mains_hz=scene.mains_hz,
    )  # fmt: skip


def fault_over(
    seed: int, what: str, split: str, recording: Path
) -> tuple[Any, list[Any], list[Any], np.ndarray, int]:
    """Draw a fault and set it over a recording.

    Returns
    -------
    scene : the synthesiser's Scene, alone
    labels, deciding : list of its Label
        With their levels over the recording.
    samples : np.ndarray [shape=(n,)]
    rate_hz : int
    """
    import soxr

    from synthetic_audio import draw, render
    from synthetic_audio.families import LENGTHS_S
    from synthetic_audio.render import RATE_HZ

    scene = render(draw(seed, what, split, background="none", phone=False, duration_s=LENGTHS_S[what][2]))
    samples, rate_hz = read_mono(recording)
    behind = repeat_to(soxr.resample(samples, rate_hz, RATE_HZ), len(scene.samples), RATE_HZ)
    behind *= _loudest(scene.samples, RATE_HZ) / _loudest(behind, RATE_HZ) * 10 ** (-OVER_DB / 20)
    labels, deciding = (_judged_over(scene, part, behind) for part in (scene.labels, scene.deciding))
    both = scene.samples + behind
    return scene, labels, deciding, both * min(1.0, PEAK / float(np.abs(both).max())), RATE_HZ


def _judged_over(scene: Any, labels: Sequence[Any], behind: np.ndarray) -> list[Any]:
    """Return a scene's labels with their levels over the rest of the scene and what is behind it.

    A sound that is not there has no stem to be judged: what is there speaks for the answer.
    """
    from synthetic_audio.render import RATE_HZ
    from synthetic_audio.truth import judge

    judged = []
    for label in labels:
        if label.absent:
            continue
        stem = scene.stems[label.sound]
        rest = scene.samples - stem + behind
        snr_db, _ = judge(label.sound, stem, rest, label.onset_s, label.offset_s, RATE_HZ, None)
        judged.append(replace(label, snr_db=round(snr_db, 2)))
    return judged


def _loudest(wave: np.ndarray, rate_hz: int) -> float:
    """RMS of the loudest quarter of a second."""
    n = rate_hz // 4
    blocks = wave[: len(wave) // n * n].astype(float).reshape(-1, n)
    return float(np.sqrt(np.max(np.mean(blocks**2, axis=1)))) + 1e-9
