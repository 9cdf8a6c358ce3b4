"""Whether a shop's labelled clips teach the ear that machine: errors on its other clips after 0, 5, 10 and 20 clips.

Run `python -m tests.measure.shop_clips` (`--quick` for a look). The machines are built by the
second generator, which nothing is trained on, from seeds of this script alone
(:mod:`tests.measure.shop_machines`): a machine keeps its valves, pump, coils and jets; room,
phone, surroundings, levels and what is done change with every scene.

Learning is that of `listen train --library` (:mod:`listen.cli.library_learn`): training goes on
from the shipped model. `--ways again` starts from nothing instead, on the same few scenes, which
is not as good as all scenes of the recipe. A candidate is judged by
:func:`listen.learn.promote.decide` on the product's frozen scenes and on clips of the shop's
next machine, kept for tests. Synthetic figures: never accuracy on machines.
"""

from __future__ import annotations

import argparse
import collections
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed

from listen.cli import library_learn
from listen.cli.library_learn import frozen_scenes
from listen.ear.bundle import Bundle, load_bundle
from listen.learn.adapt import PART_WAYS, adapted, part_way
from listen.learn.promote import Decision, decide
from listen.learn.score.events import f1
from listen.learn.score.match import count_sound
from listen.learn.score.rules import Rules, load_rules
from listen.learn.score.truth import Heard, TruthClip
from listen.learn.train import stack_parts, train_model
from listen.pipeline import model
from tests.measure.shop_machines import Made, build, families_of, make, make_frozen

#: Seeds of this script alone: machines, and a thousand scenes for each.
FIRST_MACHINE, PER_MACHINE, TEST_FROM = 14_000_000, 1_000, 500
CLIPS = (5, 10, 20)
#: Clips of the shop's next machine that are kept for tests.
KEPT = 8
RESAMPLES, BOOTSTRAP_SEED = 2000, 41
#: What is counted: every sound, and clicks alone.
COUNTED = ("all sounds", "clicks")
#: Ways of learning: training goes on from the shipped model, or starts again from nothing.
WAYS = ("go on", "again")


@dataclass(frozen=True, slots=True)
class Learnt:
    """Counts on a machine's test clips by all of what was learnt and by what a shop would use; what was decided last."""

    all_of_it: np.ndarray
    in_use: np.ndarray
    decision: Decision | None


def hear_made(made: Made, bundle: Any) -> Heard:
    """Hear and judge a clip from its features, as :func:`listen.pipeline.hear` does from its sound."""
    from listen.bench import judge
    from listen.bench.machine import machine_from
    from listen.ear.events import listen_for_events
    from listen.quality import measure_quality, with_masks
    from listen.types import StoryMark

    clip, features = made.truth, made.features
    machine = machine_from(dict(clip.machine or {}))
    events, mains = listen_for_events(features, bundle, machine.mains_hz)
    quality = with_masks(measure_quality(features), events, features.duration_s)
    judged = judge(
        events=events, quality=quality, mains=mains, duration_s=features.duration_s, machine=machine, said="", answers={},
        marks=tuple(StoryMark(at_s, word) for at_s, word in clip.story), gauges=dict(clip.gauges),
    )  # fmt: skip
    return Heard([replace(e, measures={}) for e in events], judged.verdict, judged.level)


def counts_of(clips: Sequence[TruthClip], heard: Sequence[Heard], rules: Rules) -> np.ndarray:
    """Count hits, misses and false alarms.

    Returns
    -------
    np.ndarray [shape=(clips, 2, 3)]
        Of all sounds, and of clicks.
    """
    out = np.zeros((len(clips), len(COUNTED), 3))
    for n, (clip, answer) in enumerate(zip(clips, heard, strict=True)):
        for sound in rules.kind:
            c = count_sound(sound, clip, answer.events, rules)
            counts = (c.hits, c.misses, c.false)
            out[n, 0] += counts
            if sound == "click":
                out[n, 1] += counts
    return out


def errors(counts: np.ndarray) -> np.ndarray:
    """Return 1 - F1 over the clips [shape=(..., clips, kinds, 3)] -> [shape=(..., kinds)]."""
    total = counts.sum(axis=-3)
    return 1.0 - f1(total[..., 0], total[..., 1], total[..., 2])


def resampled(machines: Sequence[Sequence[np.ndarray]], resamples: int, seed: int) -> np.ndarray:
    """Resample machines, and within each its clips; all ways of learning with the same draws.

    Parameters
    ----------
    machines : sequence of (ways of np.ndarray [shape=(clips, kinds, 3)])
    resamples : int
    seed : int

    Returns
    -------
    np.ndarray [shape=(resamples, ways, kinds)]
        Mean error over the machines drawn.
    """
    rng = np.random.default_rng(seed)
    stacked = [np.stack(ways) for ways in machines]
    out = []
    for _ in range(resamples):
        drawn = rng.integers(0, len(stacked), len(stacked))
        own = [stacked[m][:, rng.integers(0, stacked[m].shape[1], stacked[m].shape[1])] for m in drawn]
        out.append(np.nanmean([errors(part) for part in own], axis=0))
    return np.array(out)


def table(machines: Sequence[Sequence[np.ndarray]], ways: Sequence[str], base: int = 0) -> list[str]:
    """Return a line for each way: error and its change against way `base`, means over machines with 95 % intervals."""
    draws = resampled(machines, RESAMPLES, BOOTSTRAP_SEED)
    mean = np.nanmean([[errors(way) for way in own] for own in machines], axis=0)
    lines = []
    for w, name in enumerate(ways):
        cells = []
        for k, kind in enumerate(COUNTED):
            low, high = np.nanpercentile(draws[:, w, k], [2.5, 97.5])
            cell = f"{kind} {mean[w, k]:.3f} [{low:.3f}, {high:.3f}]"
            if w != base:
                low, high = np.nanpercentile(draws[:, w, k] - draws[:, base, k], [2.5, 97.5])
                cell += f", change {mean[w, k] - mean[base, k]:+.3f} [{low:+.3f}, {high:+.3f}]"
            cells.append(cell)
        lines.append(f"{name:22} " + "; ".join(cells))
    return lines


def tell(decisions: Sequence[Decision]) -> str:
    """Count what the product's rule decides, with the reasons for refusals, the commonest first."""
    kinds = {
        "found worse": "a sound found worse", "mean F1": "mean F1 falls", "stop on": "a stop lost", "false alarms": "more false alarms",
        "are needed": "too few real clips",
    }  # fmt: skip
    why: collections.Counter[str] = collections.Counter()
    for decision in decisions:
        why.update({words for part, words in kinds.items() if any(part in r for r in decision.reasons)})
    promoted = sum(d.promoted for d in decisions)
    refused = ", ".join(f"{words} {n}" for words, n in why.most_common())
    return f"promoted {promoted} of {len(decisions)}" + (f"; refused for: {refused}" if refused else "")


def learnt(way: str, shop: Sequence[Any], scenes: Any, recipe: Any) -> Any:
    """Return the model that a shop's rows and those of scenes give: gone on from the shipped one, or from nothing."""
    if way == "go on":
        return Bundle(model().info, adapted(model().heads, shop, scenes))
    parts = {
        name: library_learn._weighed([rows[name] for rows in shop], [own]) for name, own in scenes.items()
    }
    with tempfile.TemporaryDirectory() as work:
        # One network a head, not several: the mean of several changes little and takes as many times longer.
        folder = train_model(
            parts, replace(recipe, members=1), Path(work), trained_on="a measurement", echo=lambda line: None
        )
        return load_bundle(folder)


def learn_and_hear(
    shop: Sequence[Made], test: Sequence[Made], kept: Sequence[Made], frozen: Sequence[Made], frozen_now: Sequence[Heard],
    scenes: Any, recipe: Any, ways: Sequence[str],
) -> dict[str, list[Learnt]]:  # fmt: skip
    """Let one machine's clips be learnt from: for each way and number of clips what came of it."""
    rules, now = load_rules(), model()

    def counts(bundle: Any) -> np.ndarray:
        return counts_of([c.truth for c in test], [hear_made(c, bundle) for c in test], rules)

    def decided(bundle: Any) -> Decision:
        sets = []
        for clips, before in ((frozen, frozen_now), (kept, [hear_made(c, now) for c in kept])):
            sets.append(([c.truth for c in clips], list(before), [hear_made(c, bundle) for c in clips]))
        return decide(sets[0], sets[1], rules)

    def kept_of(way: str, bundle: Any) -> tuple[Any, Decision]:
        """What a shop would use of a candidate, and the last decision: all of the way, or the most that is no worse."""
        for share in PART_WAYS if way == "go on" else PART_WAYS[:1]:
            tried = bundle if share == 1.0 else Bundle(now.info, part_way(now.heads, bundle.heads, share))
            decision = decided(tried)
            if decision.promoted:
                return tried, decision
        return now, decision

    out: dict[str, list[Learnt]] = {}
    for way in ways:
        zero = counts(now if way == "go on" else learnt(way, [], scenes, recipe))
        out[way] = [Learnt(zero, counts(now), None)]
        for n in CLIPS:
            bundle = learnt(way, [c.rows for c in shop[:n]], scenes, recipe)
            used, decision = kept_of(way, bundle)
            out[way].append(Learnt(counts(bundle), counts(used), decision))
    return out


def main() -> None:
    from listen.cli.training_scenes import clip_rows
    from listen.learn.recipe import load_recipe
    from listen.resources import shipped

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="Two machines, few scenes: a look, no figure.")
    parser.add_argument("--machines", type=int, default=32)
    parser.add_argument(
        "--test-clips", type=int, default=20, help="Clips of each machine that are only tested on."
    )
    parser.add_argument(
        "--every", type=int, default=1, help="Learn among every so many of the product's scenes."
    )
    parser.add_argument("--ways", nargs="+", choices=WAYS, default=["go on"])
    parser.add_argument(
        "--first-machine",
        type=int,
        default=FIRST_MACHINE,
        help="First seed; for mending take 1100000 and up.",
    )
    parser.add_argument("--jobs", type=int, default=2, help="Processes at once.")
    options = parser.parse_args()
    if options.quick:
        options.machines, options.test_clips, options.every = 2, 6, 5
    started = time.monotonic()
    recipe = load_recipe(shipped("models") / "recipe.toml")
    pool = Parallel(n_jobs=options.jobs, batch_size=2)
    machines = [
        build(options.first_machine + m, ("rotary", "vibratory")[m % 2]) for m in range(options.machines)
    ]
    jobs = [
        (machine, options.first_machine + PER_MACHINE * (m + 1) + first + n, family)
        for m, machine in enumerate(machines)
        for first, count in ((0, max(CLIPS)), (TEST_FROM, options.test_clips))
        for n, family in enumerate(families_of(machine, count, first))
    ]
    made = pool(delayed(make)(machine, seed, family, recipe) for machine, seed, family in jobs)
    per = max(CLIPS) + options.test_clips
    own = [made[m * per : (m + 1) * per] for m in range(len(machines))]
    frozen = pool(
        delayed(make_frozen)(seed, family) for seed, family in frozen_scenes()[:: 20 if options.quick else 1]
    )
    frozen_now = [hear_made(clip, model()) for clip in frozen]
    scene_jobs = library_learn.scene_jobs(recipe, go_on=True)[:: options.every]
    scenes = stack_parts(pool(delayed(clip_rows)(job, recipe) for job in scene_jobs))
    print(
        f"{len(machines)} machines, {len(frozen)} frozen scenes, {len(scene_jobs)} scenes to learn among; {time.monotonic() - started:.0f} s"
    )
    results = Parallel(n_jobs=options.jobs)(
        delayed(learn_and_hear)(
            clips[: max(CLIPS)], clips[max(CLIPS) :], own[(m + 1) % len(own)][:KEPT], frozen, frozen_now, scenes, recipe, options.ways,
        )
        for m, clips in enumerate(own)
    )  # fmt: skip
    for way in options.ways:
        print(f"{way}: error (1 - F1), mean over {len(machines)} machines")
        mine = [[step.all_of_it for step in result[way]] for result in results]
        names = [f"{n} clips" for n in (0, *CLIPS)]
        for line in table(mine, names):
            print("  " + line)
        print("  in use: the most of it that is measured no worse, else the model before")
        for line in table([[step.in_use for step in result[way]] for result in results], names):
            print("  " + line)
        for place, n in enumerate(CLIPS, start=1):
            print(f"  {n:2d} clips: {tell([result[way][place].decision for result in results])}")
    print(f"{time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
