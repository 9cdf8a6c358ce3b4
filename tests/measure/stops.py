"""Hear scenes that call for a stop by their sound, and their twins; then stops that need no sound.

Run `python -m tests.measure.stops`. Machines, rooms and phones come from the held-out
ranges, seeds from a space of their own; `--set tune` draws other scenes from the training
ranges, for mending, and `--set outer` from ranges that lie further out than both. A scene
carries its stop when the truth of every sound it rests on stands 6 dB over all else (where
the pattern itself asks for more, so much) and the phone lets it pass; a missing discharge
is not carried by telephone. Of every miss it is said whether the bench would have stopped
on the true sounds (then the ear lost it) or not (then the bench did). Synthetic figures:
never accuracy on machines.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed

from listen.cli.score_sets import wav
from synthetic_audio.stop_scenes import FAMILIES, draw_stop
from tests.measure.stats import share
from tests.measure.stop_words import Told, cases
from tests.measure.telling import add_options, machine_told, roughly

#: No other list draws from here on: first seed and ranges of each set.
SETS: dict[str, tuple[int, str]] = {
    "test": (8_000_000, "held_out"),
    "tune": (9_000_000, "train"),
    "outer": (30_000_000, "outer"),
}
#: Seeds between two families, and from a family's scenes to its twins, and to other kinds.
PER_FAMILY, TWINS_FROM, OTHERS_FROM, SECOND_FROM = 1_000, 500, 100_000, 200_000
#: What the second generator can show, and how many of each.
SECOND: tuple[tuple[str, int], ...] = (
    ("blast", 10),
    ("no_burst", 10),
    ("missing_click_brew", 10),
    ("fill_never_ends", 3),
)
#: Scenes with nothing that calls for a stop, beside the twins.
QUIET: tuple[str, ...] = (
    "normal_brew", "normal_warm_up", "normal_fill", "normal_steam", "normal_idle", "no_machine", "starved_pump", "solenoid_buzz",
    "chatter", "missing_click_fill",
)  # fmt: skip
PER_QUIET = 6
#: Rooms of `--far` (bare kitchens; Kuttruff, Room Acoustics, from memory), and where the phone is in them.
FAR_RT60_S, FAR_M = (0.6, 1.1), (0.7, 2.0)
#: A band that ends below this is a telephone's (3GPP AMR, 3.4 kHz).
TELEPHONE_HZ = 4_000.0
#: Bounds of how far the least of the deciding sounds stands over all else, for the table, dB.
MARGINS_DB = (6.0, 12.0, 20.0, 30.0, 100.0)
#: What a sound stands for beside its level, where the bench asks for it (ordinary values of the synthesiser).
MEASURES: dict[str, dict[str, float]] = {
    "boil": {"growth_db_per_min": 6.0},
    "blast": {"centroid_hz": 2500.0, "rise_ms": 20.0},
}


@cache
def _worker() -> Any:
    from listen.decode import DecodeWorker

    return DecodeWorker()


def _hear(
    audio: bytes, name: str, machine: Any, story: Sequence[tuple[float, str]], model: str | None, **told: Any
) -> Any:
    from listen.pipeline import hear
    from listen.types import StoryMark

    marks = [StoryMark(at_s, word) for at_s, word in story]
    return hear(audio, name=name, machine=machine, marks=marks, worker=_worker(), model_folder=model, **told)


def _on_the_truth(scene: Any, said: str, machine: Any) -> bool:
    """Tell whether the bench stops when it is given the true sounds instead of the ear's."""
    from listen.bench import judge
    from listen.types import Mains, Quality, SoundEvent, StoryMark

    length_s = len(scene.samples) / scene.rate_hz
    labels = [x for x in scene.labels if x.source == "machine" and x.snr_db >= 0.0]
    events = [
        SoundEvent(
            f"e{n}", x.sound, x.onset_s, x.offset_s, 0.95, {"level_db": x.snr_db, **MEASURES.get(x.sound, {})},
            x.onset_s < 0.05, x.offset_s > length_s - 0.05,
        )
        for n, x in enumerate(labels)
    ]  # fmt: skip
    judged = judge(
        events=events, quality=Quality(True, (50.0, 16_000.0), 0.0, -60.0, -30.0), mains=Mains(scene.machine["mains_hz"], "given"),
        duration_s=length_s, machine=machine, marks=[StoryMark(t, w) for t, w in scene.story],
        gauges=scene.gauges, said=said,
    )  # fmt: skip
    return any(f.level == "stop" and f.event_ids for f in judged.findings)


def from_afar(spec: Any) -> Any:
    """The same scene in a room that rings on, heard from where a customer may stand."""
    if spec.room is None:
        return spec
    rng = np.random.default_rng(spec.seed)
    drawn = {"rt60_s": float(rng.uniform(*FAR_RT60_S)), "distance_m": float(rng.uniform(*FAR_M))}
    return replace(spec, room={**spec.room, **drawn})


def hear_scene(
    kind: str,
    name: str,
    seed: int,
    split: str,
    model: str | None,
    far: bool = False,
    unknown: bool = False,
    rough: bool = False,
) -> dict[str, Any]:
    """Render and hear one scene: of a stop family (`stop`), its `twin`, a `quiet` family or the `second` generator.

    With `unknown` neither the machine nor the mains is told, with `rough` the story's moments only roughly.
    """
    from synthetic_audio import draw, render, second
    from synthetic_audio.phone import codec_band_hz

    said, least_db, passes = "", 0.0, True
    if kind in ("stop", "twin"):
        family = next(f for f in FAMILIES if f.name == name)
        spec, said = draw_stop(family, seed, kind == "stop", split)
        scene: Any = render(from_afar(spec) if far else spec)
        code, least_db = family.code, family.least_db
        passes = family.by_telephone or codec_band_hz(spec.phone)[1] > TELEPHONE_HZ
    elif kind == "second":
        scene, code = second.render(second.draw(seed, family=name), second.find(None)), name
    else:
        spec = draw(seed, name, split)
        scene, code = render(from_afar(spec) if far else spec), ""
    machine = machine_told(scene.machine, unknown)
    story = roughly(scene.story, seed, len(scene.samples) / scene.rate_hz) if rough else scene.story
    report = _hear(
        wav(scene.samples, scene.rate_hz), f"{name}-{seed}.wav", machine, story, model,
        gauges=_unread(scene.gauges) if kind == "second" else scene.gauges, said=said,
    )  # fmt: skip
    stops = [f.code for f in report.findings if f.level == "stop" and f.event_ids]
    missed = kind in ("stop", "second") and not stops
    margin_db = min((d.snr_db for d in scene.deciding), default=0.0)
    return {
        "kind": kind, "name": name, "seed": seed, "carries": kind == "quiet" or (bool(scene.carries) and margin_db >= least_db and passes),
        "margin_db": margin_db, "stops": stops,
        "right": code in stops, "level": report.level, "verdict": report.verdict, "because": report.because,
        "model": report.model.sha256[:12], "truth_stops": _on_the_truth(scene, said, machine) if missed and kind == "stop" else None,
        "story": list(story), "limits": sorted({limit.code for limit in report.quality.limits}),
        "truth": [f"{x.sound} {x.onset_s:.1f}-{x.offset_s:.1f} {x.snr_db:.0f} dB" for x in scene.labels],
        "heard": [f"{e.sound} {e.onset_s:.1f}-{e.offset_s:.1f} p={e.probability:.2f}" for e in report.events],
        "findings": [f"{f.code}:{f.level}" for f in report.findings],
    }  # fmt: skip


def _unread(gauges: Mapping[str, float]) -> dict[str, float]:
    """Leave out a boiler gauge that would stop by itself."""
    return {name: bar for name, bar in gauges.items() if name != "boiler" or bar <= 1.3}


def plan(
    which: str, count: int, only: Iterable[str] = (), first_seed: int | None = None
) -> list[tuple[str, str, int, str]]:
    """List the scenes of a set: (kind, name, seed, split); other scenes of its ranges from another first seed."""
    first, split = SETS[which]
    first = first if first_seed is None else first_seed
    wanted = set(only)
    jobs: list[tuple[str, str, int, str]] = []
    for n, family in enumerate(FAMILIES):
        base = first + n * PER_FAMILY
        for i in range(max(3, round(count * family.weight))):
            jobs.append(("stop", family.name, base + i, split))
            if i % 3 != 2:  # twins cost as much, and fewer of them tell as much
                jobs.append(("twin", family.name, base + TWINS_FROM + i, split))
    jobs += [
        ("quiet", q, first + OTHERS_FROM + n * PER_FAMILY + i, split)
        for n, q in enumerate(QUIET)
        for i in range(PER_QUIET)
    ]
    if which == "test":
        jobs += [
            ("second", name, first + SECOND_FROM + n * PER_FAMILY + i, "")
            for n, (name, many) in enumerate(SECOND)
            for i in range(many)
        ]
    return [job for job in jobs if not wanted or job[1] in wanted]


def hear_told(n: int, model: str | None) -> list[dict[str, Any]]:
    """Hear every told case over one of two clips: an idle machine, a kitchen too short to judge."""
    from synthetic_audio import draw, render

    first = SETS["test"][0] + 300_000
    scene = render(
        draw(
            first + n,
            "normal_idle" if n == 0 else "no_machine",
            "held_out",
            duration_s=8.0 if n == 0 else 4.0,
        )
    )
    samples = scene.samples[: int(0.7 * scene.rate_hz)] if n == 1 else scene.samples
    audio = wav(samples, scene.rate_hz)
    out = []
    for case in cases():
        report = _hear(
            audio,
            "told.wav",
            case.machine,
            case.did,
            model,
            gauges=case.gauges,
            said=case.said,
            answers=case.answers,
        )
        stopped = any(f.level == "stop" and not f.event_ids for f in report.findings)
        out.append(
            {
                "about": case.about,
                "must": case.stops,
                "stopped": stopped and report.level == "stop",
                "case": _short(case),
            }
        )
    return out


def _short(case: Told) -> str:
    return f"{case.about}: {case.said or case.answers or dict(case.gauges, did=[w for _, w in case.did])}"


def print_families(results: Sequence[Mapping[str, Any]], which: str) -> None:
    """Print the table by family, the totals and what went wrong."""
    print(f"set {which}, model {', '.join(sorted({str(r['model']) for r in results}))}")
    for kind, title in (("stop", "stop scenes"), ("second", "stop scenes of the second generator")):
        rows = [r for r in results if r["kind"] == kind]
        if not rows:
            continue
        carried = [r for r in rows if r["carries"]]
        print(f"{title}: {len(rows)} rendered, {len(carried)} carry their stop")
        for name in dict.fromkeys(r["name"] for r in rows):
            mine = [r for r in carried if r["name"] == name]
            faint = [r for r in rows if r["name"] == name and not r["carries"]]
            by_name = sum(r["right"] for r in mine)
            also = f", not carried {sum(bool(r['stops']) for r in faint)}/{len(faint)}" if faint else ""
            print(
                f"  {name:24} stopped {share(sum(bool(r['stops']) for r in mine), len(mine)):34} by its own finding {by_name}{also}"
            )
        print(f"  {'all':24} stopped {share(sum(bool(r['stops']) for r in carried), len(carried))}")
        for low, high in pairwise(MARGINS_DB):
            mine = [r for r in carried if low <= r["margin_db"] < high]
            say = f"{low:g} dB and more" if high > 90.0 else f"{low:g} to {high:g} dB"
            print(
                f"  {'over all else by ' + say:34} stopped {share(sum(bool(r['stops']) for r in mine), len(mine))}"
            )
        lost = [r for r in carried if not r["stops"]]
        if kind == "stop":
            ear = sum(r["truth_stops"] for r in lost)
            print(f"  of {len(lost)} misses the ear lost {ear}, the bench {len(lost) - ear}")
            silent = sum(r["level"] == "fine" for r in lost)
            told = sum(r["verdict"] == "cannot_tell" for r in lost)
            print(f"  {told} of them say that the clip cannot tell, {silent} that nothing is wrong")
    calm = [r for r in results if r["kind"] in ("twin", "quiet")]
    print(f"false stops from sound: {share(sum(bool(r['stops']) for r in calm), len(calm))}")
    for name in dict.fromkeys((r["kind"], r["name"]) for r in calm):
        mine = [r for r in calm if (r["kind"], r["name"]) == name]
        wrong = [r for r in mine if r["stops"]]
        if wrong:
            print(
                f"  {name[0]} {name[1]:24} {len(wrong)}/{len(mine)}: {', '.join(sorted({c for r in wrong for c in r['stops']}))}"
            )


def print_misses(results: Sequence[Mapping[str, Any]]) -> None:
    """Print what the ear heard in each miss and each false stop."""
    for r in results:
        if r["kind"] in ("stop", "second") and r["carries"] and not r["stops"]:
            who = {True: "lost by the ear", False: "lost by the bench", None: "second generator"}[
                r["truth_stops"]
            ]
        elif r["kind"] in ("twin", "quiet") and r["stops"]:
            who = "false stop " + ", ".join(r["stops"])
        else:
            continue
        print(
            f"- {r['kind']} {r['name']} {r['seed']}: {who}; {r['verdict']}, {r['level']}; limits {', '.join(r['limits']) or 'none'}"
        )
        print(
            f"    story {r['story']}\n    truth {r['truth']}\n    heard {r['heard']}\n    found {r['findings']} {r['because']}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--set", choices=SETS, default="test")
    parser.add_argument("--count", type=int, default=24, help="Scenes of a family of ordinary length.")
    parser.add_argument(
        "--first-seed",
        type=int,
        help="Other scenes of the same ranges: 8500000 to 8899000 or 9500000 to 9899000.",
    )
    parser.add_argument(
        "--far",
        action="store_true",
        help="Heard from afar, in rooms that ring on (not the second generator).",
    )
    add_options(parser)
    parser.add_argument("--only", action="append", default=[], metavar="FAMILY")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--model")
    parser.add_argument("--misses", action="store_true", help="Print what the ear heard in each miss.")
    parser.add_argument("--json", type=Path, help="Write every result here.")
    options = parser.parse_args()
    jobs = plan(options.set, options.count, options.only, options.first_seed)
    started = time.monotonic()
    results = []
    for result in Parallel(n_jobs=options.jobs, batch_size=4, return_as="generator")(
        delayed(hear_scene)(*job, options.model, options.far, options.unknown_machine, options.roughly_told)
        for job in jobs
    ):
        results.append(result)
        if len(results) % 50 == 0:
            print(
                f"  {len(results)} of {len(jobs)}, {time.monotonic() - started:.0f} s",
                file=sys.stderr,
                flush=True,
            )
    print_families(results, options.set)
    if not options.only:
        told = [
            r
            for rows in Parallel(n_jobs=options.jobs)(delayed(hear_told)(n, options.model) for n in range(2))
            for r in rows
        ]
        must, calm = [r for r in told if r["must"]], [r for r in told if not r["must"]]
        print(
            f"stops from gauge, answers or words alone: {share(sum(r['stopped'] for r in must), len(must))}"
        )
        print(f"  and stopped without reason: {share(sum(r['stopped'] for r in calm), len(calm))}")
        for case in dict.fromkeys(r["case"] for r in told if r["stopped"] != r["must"]):
            print(f"  wrong: {case}")
    if options.misses:
        print_misses(results)
    if options.json:
        options.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    # By its own name, so that other processes find what is kept between calls.
    from tests.measure import stops

    stops.main()
