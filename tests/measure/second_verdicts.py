"""Verdicts on the second generator, family by family: how many healthy machines are accused, how many faults are called normal.

Nothing is trained on that generator. The default seeds are for scoring and were never looked at clip by clip;
`--first-seed 1600000` to `1649000` are for mending, and `--misses` lists what was said there.
A scene that does not carry its verdict may be left open, but not judged wrongly.

    python -m tests.measure.second_verdicts [--count 40] [--jobs 2] [--unknown-machine] [--roughly-told]
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed

from listen.cli.score_sets import wav
from tests.measure.stats import share
from tests.measure.telling import add_options, machine_told, roughly

#: No other list draws from here on.
FIRST_SEED = 2_000_000
PER_FAMILY = 1_000
FAMILIES = (
    "normal_brew", "normal_fill", "normal_warm_up", "missing_click_brew", "missing_click_fill", "stalled_motor",
    "solenoid_buzz", "starved_pump", "no_burst",
)  # fmt: skip


def judged(seed: int, family: str, unknown: bool = False, rough: bool = False) -> dict[str, Any]:
    """Render and hear one scene: its truth, and what is said of it.

    With `unknown` nothing is told of the machine, with `rough` the story's moments only roughly.
    """
    from listen.pipeline import hear
    from listen.types import StoryMark
    from synthetic_audio import second

    scene: Any = second.render(second.draw(seed, family=family), second.find(None))
    story = roughly(scene.story, seed, len(scene.samples) / scene.rate_hz) if rough else scene.story
    report = hear(
        wav(scene.samples, scene.rate_hz), name=f"{family}-{seed}.wav", machine=machine_told(scene.machine, unknown),
        gauges=scene.gauges, marks=[StoryMark(at_s, word) for at_s, word in story],
    )  # fmt: skip
    return {
        "family": family, "seed": seed, "truth": scene.verdict, "carries": bool(scene.carries), "verdict": report.verdict,
        "stops": [f.code for f in report.findings if f.level == "stop"], "because": report.because,
        "labels": [f"{x.sound} {x.onset_s:.1f}-{x.offset_s:.1f} {x.snr_db:.0f} dB" for x in scene.labels],
        "heard": [f"{e.sound} {e.onset_s:.1f}-{e.offset_s:.1f} p={e.probability:.2f}" for e in report.events],
    }  # fmt: skip


def wrong(result: Mapping[str, Any]) -> bool:
    """Tell whether a verdict contradicts the truth; to leave it open is never wrong."""
    return result["verdict"] not in ("cannot_tell", result["truth"])


def print_families(results: Sequence[Mapping[str, Any]]) -> None:
    """Print a line for each family, and the totals of healthy machines and of faults."""
    groups = [(name, [r for r in results if r["family"] == name]) for name in FAMILIES]
    groups += [
        (f"all that is {truth}", [r for r in results if r["truth"] == truth])
        for truth in ("normal", "abnormal")
    ]
    for name, rows in groups:
        carried = [r for r in rows if r["carries"]]
        right = sum(r["verdict"] == r["truth"] for r in carried)
        stops = sum(bool(r["stops"]) for r in rows)
        print(
            f"{name:20} wrong {share(sum(map(wrong, rows)), len(rows)):32} right of those that carry it {share(right, len(carried)):32} stops {stops}/{len(rows)}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=40, help="Scenes of each family.")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--jobs", type=int, default=2)
    add_options(parser)
    parser.add_argument("--misses", action="store_true", help="Print what was heard in each wrong one.")
    parser.add_argument("--json", type=Path, help="Write every result here.")
    options = parser.parse_args()
    jobs = [
        (options.first_seed + n * PER_FAMILY + i, family)
        for n, family in enumerate(FAMILIES)
        for i in range(options.count)
    ]
    results = Parallel(options.jobs, batch_size=2)(
        delayed(judged)(*job, options.unknown_machine, options.roughly_told) for job in jobs
    )
    print_families(results)
    if options.misses:
        for r in results:
            if wrong(r) or (r["truth"] == "normal" and r["stops"]):
                print(
                    f"- {r['family']} {r['seed']}: {r['truth']}, said {r['verdict']} {r['stops']}; {r['because']}"
                )
                print(f"    truth {r['labels']}\n    heard {r['heard']}")
    if options.json:
        options.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
