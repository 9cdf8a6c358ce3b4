"""Hear every real clip (none is an espresso machine), alone and with a synthetic fault mixed in at 10 dB.

Both times with the same story and machine, so that only the sound differs.
Figures are 'real, proxy', never accuracy on machines.
"""

from __future__ import annotations

import argparse
import collections
import io

import numpy as np
import soundfile
import soxr
from joblib import Parallel, delayed

from tests.measure.clips import RealClip, clips_folder, real_clips
from tests.measure.stats import share

#: Faults short enough to be heard in a clip of five seconds.
MIXED = ("stalled_motor", "starved_pump", "lasting_hiss", "blast", "solenoid_buzz", "chatter")
RATE_HZ = 48_000
FIRST_SEED = 910_000


def _encode(samples: np.ndarray) -> bytes:
    data = io.BytesIO()
    soundfile.write(data, samples, RATE_HZ, format="WAV", subtype="PCM_16")
    return data.getvalue()


def story_from(story: list, start_s: float, length_s: float) -> list:
    """Move a scene's story to a cut that starts later; what began before it has begun at zero."""
    from listen.types import StoryMark

    begun = [word for at_s, word in story if at_s <= start_s]
    marks = [StoryMark(0.0, begun[-1])] if begun else []
    return marks + [
        StoryMark(at_s - start_s, word) for at_s, word in story if start_s < at_s < start_s + length_s
    ]


def hear_both(clip: RealClip, number: int) -> dict | None:
    """Verdicts of a clip alone (without and with a story) and with a fault mixed in (with that story)."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from synthetic_audio import draw, render

    samples, rate_hz = soundfile.read(clip.path, dtype="float32", always_2d=True)
    if len(samples) < rate_hz:
        return None
    samples = soxr.resample(samples.mean(axis=1), rate_hz, RATE_HZ).astype(np.float32)
    family = MIXED[number % len(MIXED)]
    scene = render(draw(FIRST_SEED + number, family=family, split="held_out", background="none", phone=False))
    fault = soxr.resample(scene.samples, scene.rate_hz, RATE_HZ).astype(np.float32)
    # The stretch of the scene in which the fault is heard, with up to a second of what was before it.
    lead_s = min(1.0, 0.2 * len(samples) / RATE_HZ)
    start_s = max(0.0, min(label.onset_s for label in scene.deciding) - lead_s) if scene.deciding else 0.0
    fault = fault[int(start_s * RATE_HZ) :]
    n = min(len(samples), len(fault))
    fault = fault[:n]
    marks = story_from(scene.story, start_s, n / RATE_HZ)
    level = np.sqrt(np.mean(samples[:n] ** 2)) * 10 ** (10 / 20)
    fault = fault * (level / max(np.sqrt(np.mean(fault**2)), 1e-9))
    mixed = samples.copy()
    mixed[:n] += fault
    loudest = np.abs(mixed).max()
    mixed = mixed * (0.7 / loudest) if loudest > 0.7 else mixed
    given = {"machine": machine_from(scene.machine), "gauges": scene.gauges, "marks": marks}
    # In the alone arm the gauges would speak of a machine that is not there: only the story is kept.
    alone = hear(_encode(samples), name=clip.path.name)
    told = hear(_encode(samples), name=clip.path.name, machine=given["machine"], marks=marks)
    fault_report = hear(_encode(mixed), name=clip.path.name, **given)
    return {
        "clip": str(clip.path.name), "kind": clip.kind, "fold": clip.fold, "recording": clip.recording, "nearest": clip.nearest, "family": family,
        "alone": (alone.verdict, alone.level), "told": (told.verdict, told.level), "mixed": (fault_report.verdict, fault_report.level),
        "alone_findings": [f.code for f in alone.findings], "told_findings": [f.code for f in told.findings],
        "mixed_findings": [f.code for f in fault_report.findings],
        "events": sorted({e.sound for e in alone.events}), "mixed_events": [(e.sound, round(e.onset_s, 1), round(e.offset_s, 1)) for e in fault_report.events],
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fold", choices=("all", "train", "test"), default="all")
    parser.add_argument("--limit", type=int)
    parser.add_argument("--misses", action="store_true")
    options = parser.parse_args()
    folder = clips_folder()
    if folder is None:
        print("No folder of real clips: set LISTEN_CLIPS.")
        return
    # Of the ten-class set the first two folds count as train here, the others as test.
    folds = {"train": ("train", "env1", "env2"), "test": ("test", "env3", "env4", "env5")}
    clips = [c for c in real_clips(folder) if options.fold == "all" or c.fold in folds[options.fold]]
    clips = clips[:: max(1, len(clips) // options.limit)] if options.limit else clips
    heard = Parallel(n_jobs=-1, batch_size=2)(delayed(hear_both)(clip, n) for n, clip in enumerate(clips))
    results = [r for r in heard if r is not None]
    print(
        f"{len(results)} real clips of at least 1 s from {len({r['recording'] for r in results})} recordings, all gave a report"
    )
    for arm, text in (
        ("alone", "as they are, no story"),
        ("told", "as they are, the fault scene's story told"),
    ):
        verdicts = collections.Counter(r[arm][0] for r in results)
        print(
            f"{text}: cannot_tell {share(verdicts['cannot_tell'], len(results))}, abnormal {share(verdicts['abnormal'], len(results))}, normal {verdicts['normal']}"
        )
        print(f"  level stop {share(sum(r[arm][1] == 'stop' for r in results), len(results))}")
    mixed = collections.Counter(r["mixed"][0] for r in results)
    print(
        f"with a fault at 10 dB: abnormal {share(mixed['abnormal'], len(results))}, cannot_tell {mixed['cannot_tell']}, normal {mixed['normal']}"
    )
    for family in MIXED:
        mine = [r for r in results if r["family"] == family]
        print(f"  {family:16} abnormal {share(sum(r['mixed'][0] == 'abnormal' for r in mine), len(mine))}")
    if options.misses:
        for r in results:
            if (
                r["alone"][0] != "cannot_tell"
                or r["told"][0] != "cannot_tell"
                or r["alone"][1] == "stop"
                or r["mixed"][0] != "abnormal"
            ):
                print(r)


if __name__ == "__main__":
    main()
