"""Whether a spoilt clip raises wrong verdicts: the same held-out scenes clean, by telephone, suppressed, in noise.

A wrong verdict is `normal` or `abnormal` where the truth is another; `cannot tell`
is never wrong, and its share stands beside. The change against the clean clip is
paired: whole scenes are drawn again (bootstrap, 95 %). Scenes are synthesised:
never accuracy on machines. The goal is at most 2 points more wrong verdicts.
The first 54 scenes showed that a pump nearly drowned in noise proves no missing click
(`drowned_pump_db` of the bench): for that rule they are no test, `--first-seed` takes others.
`--split train` draws scenes for mending; `--misses` prints what was said of each wrong one.
Stops where the truth is `normal` are counted beside: a clip that cannot tell may still warn.

    python -m tests.measure.degraded [--count 120]
"""

from __future__ import annotations

import argparse
import io
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import soundfile
from joblib import Parallel, delayed

from tests.measure.stats import share

#: No other list draws from here on.
FIRST_SEED = 7_950_000
NOISE_SNR_DB = -5.0
RESAMPLES = 2000
WAYS = ("clean", "telephone band", "heavy suppression", "noise at -5 dB")


@dataclass(frozen=True)
class Said:
    """What is said of a clip: the verdict, the findings that stop, and what it rests on, in words."""

    verdict: str
    stops: tuple[str, ...]
    about: str


def phone_for(way: str, phone: dict[str, Any]) -> dict[str, Any]:
    """The scene's own microphone, with what the way asks for and nothing else."""
    plain = {**phone, "codec": "none", "suppression": False, "agc": 0.0, "clip": False}
    if way == "telephone band":
        return {**plain, "codec": "narrow_band"}
    if way == "heavy suppression":
        return {**plain, "suppression": True, "suppression_floor_db": -24.0, "suppression_s": 1.0}
    return plain


def in_noise(samples: np.ndarray, snr_db: float, rng: np.random.Generator) -> np.ndarray:
    """Add pink noise (3 dB an octave) so much stronger than the clip's own power [shape like input]."""
    spectrum = np.fft.rfft(rng.standard_normal(len(samples)))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    spectrum[0] = 0.0
    noise = np.fft.irfft(spectrum, len(samples))
    noise *= np.sqrt(np.mean(samples**2)) / np.sqrt(np.mean(noise**2)) * 10 ** (-snr_db / 20)
    mixed = samples + noise
    return (mixed * min(1.0, 0.9 / max(float(np.abs(mixed).max()), 1e-9))).astype(np.float32)


def verdicts(seed: int, family: str, split: str = "held_out") -> tuple[str, dict[str, Said]]:
    """Truth of a scene, and what is said of it in every way."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from listen.types import StoryMark
    from synthetic_audio import draw, render

    spec = draw(seed, family=family, split=split)
    given: dict[str, Said] = {}
    truth = ""
    for way in WAYS:
        scene = render(replace(spec, phone=phone_for(way, dict(spec.phone)) if spec.phone else None))
        truth = truth or scene.verdict
        samples = scene.samples
        if way.startswith("noise"):
            samples = in_noise(samples, NOISE_SNR_DB, np.random.default_rng(seed))
        data = io.BytesIO()
        soundfile.write(data, samples, scene.rate_hz, format="WAV", subtype="PCM_16")
        report = hear(
            data.getvalue(), name=f"{seed}.wav", machine=machine_from(scene.machine), gauges=scene.gauges,
            marks=[StoryMark(at_s, word) for at_s, word in scene.story],
        )  # fmt: skip
        stops = [f.code for f in report.findings if f.level == "stop"]
        heard = [f"{e.sound} {e.onset_s:.1f}-{e.offset_s:.1f} p={e.probability:.2f}" for e in report.events]
        labels = [f"{x.sound} {x.onset_s:.1f}-{x.offset_s:.1f} {x.snr_db:.0f} dB" for x in scene.labels]
        about = f"story {list(scene.story)}\n    truth {labels}\n    heard {heard}\n    {report.because}"
        given[way] = Said(report.verdict, tuple(stops), about)
    return truth, given


def change(wrong: np.ndarray, clean: np.ndarray, seed: int = 1) -> tuple[float, float, float]:
    """Mean paired change in percentage points with its 95 % bootstrap interval; both [shape=(scenes,)]."""
    difference = 100 * (wrong.astype(float) - clean)
    draws = np.random.default_rng(seed).integers(0, len(difference), (RESAMPLES, len(difference)))
    low, high = np.percentile(difference[draws].mean(axis=1), [2.5, 97.5])
    return float(difference.mean()), float(low), float(high)


def main() -> None:
    from synthetic_audio import FAMILIES

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--split", choices=("held_out", "train"), default="held_out")
    parser.add_argument("--misses", action="store_true", help="Print what was said of each wrong one.")
    parser.add_argument("--jobs", type=int, default=2)
    families = [f for f in FAMILIES if f not in ("fill_too_often", "fill_never_ends")]  # minutes long each
    options = parser.parse_args()
    jobs = [
        (options.first_seed + n, families[n % len(families)], options.split) for n in range(options.count)
    ]
    results = Parallel(options.jobs, batch_size=2)(delayed(verdicts)(*job) for job in jobs)
    wrong = {
        way: np.array([v[way].verdict not in ("cannot_tell", truth) for truth, v in results]) for way in WAYS
    }
    normal = [v for truth, v in results if truth == "normal"]
    for way in WAYS:
        silent = sum(v[way].verdict == "cannot_tell" for _, v in results)
        mean, low, high = change(wrong[way], wrong["clean"])
        stops = sum(bool(v[way].stops) for v in normal)
        print(
            f"{way:18} wrong {share(int(wrong[way].sum()), len(results))}, cannot tell {silent}/{len(results)}; "
            f"change {mean:+.1f} points [{low:+.1f}, {high:+.1f}]; stops where all is normal {stops}/{len(normal)}"
        )
    if options.misses:
        for job, (truth, given) in zip(jobs, results, strict=True):
            for way in WAYS:
                said = given[way]
                if said.verdict not in ("cannot_tell", truth) or (truth == "normal" and said.stops):
                    print(
                        f"- {way} {job[1]} {job[0]}: {truth}, said {said.verdict} {said.stops}\n    {said.about}"
                    )


if __name__ == "__main__":
    main()
