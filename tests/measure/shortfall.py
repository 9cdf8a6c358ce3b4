"""What the ear loses on makings that it does not know and on phones, and why no verdict is given there.

Hears the sets of `listen score` that are named and prints, by family of sounds: the mean F1
over the words of five recordings or more as it is scored; without asking for edges (a word
counts where it lies under an event, and an event where it lies under a label); and the share
found by how far the sound stands over all else. Of phones also how well some sounds are told by
what processing and codec leave of them: a label holds what was played, to its end. Then, of the
scenes that carry their answer and get none: what was said instead, and how many are normal.
Nothing is chosen by it.

    python -m tests.measure.shortfall [--sets second,phones]
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from joblib import Parallel, delayed

from listen.cli.score_hear import PROCESSES
from listen.cli.score_plan import parts_of
from listen.learn.score.match import Counts, count_sound, wanted_and_free
from listen.learn.score.rules import Rules, load_rules
from listen.learn.score.truth import TruthClip
from listen.types import SoundEvent
from tests.measure.clips import clips_folder

#: A word with fewer recordings says too little to be averaged (as in the sheet).
LEAST_RECORDINGS = 5
#: Bounds of how far a sound stands over all else, dB.
LEVELS_DB = (6.0, 12.0, 20.0, 30.0, 100.0)
#: What is said when there is no verdict, by how its sentence begins.
REASONS = (
    "No machine is heard", "Expected and not heard", "This clip leaves it open", "It cannot be told whether it was there",
    "This clip could not have carried", "This recording cannot carry", "A sound is heard that the known state does not explain",
)  # fmt: skip


def heard(make: Callable[..., TruthClip], entry: Mapping[str, Any], extra: Sequence[Any]) -> tuple[Any, ...]:
    """Make and hear a clip: truth, events, verdict, and the sentence that gives its reason."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from listen.types import StoryMark

    clip = make(entry, *extra)
    if clip.audio is None:
        raise SystemExit(f"{clip.name} has no sound: make it again.")
    report = hear(
        clip.audio, name=clip.name, machine=machine_from(dict(clip.machine)) if clip.machine else None,
        marks=[StoryMark(at_s, word) for at_s, word in clip.story], gauges=dict(clip.gauges),
    )  # fmt: skip
    # Measures travel between no processes, and are of no use here.
    events = [replace(event, measures={}) for event in report.events]
    return replace(clip, audio=None), events, report.verdict, report.because


def under_each_other(sound: str, clip: TruthClip, events: Sequence[SoundEvent], rules: Rules) -> Counts:
    """Count a sound without its edges: what lies under each other agrees."""
    wanted, free = wanted_and_free(sound, clip, rules)
    mine = [e for e in events if e.sound == sound]
    slack_s = rules.onset_s["onset"] if rules.kind[sound] == "onset" else 0.0

    def meets(e: SoundEvent, spans: Iterable[tuple[float, float]]) -> bool:
        return any(e.onset_s <= b + slack_s and e.offset_s >= a - slack_s for a, b in spans)

    spans = [(w.onset_s, w.offset_s) for w in wanted]
    hits = sum(any(meets(e, [span]) for e in mine) for span in spans)
    false = sum(not meets(e, [*spans, *free]) for e in mine)
    return Counts(hits=hits, misses=len(spans) - hits, false=false, labels=len(spans))


def by_family(results: Sequence[tuple[Any, ...]], rules: Rules) -> None:
    """Print mean F1 of each family as scored and without edges, and the share found by level."""
    scored, loose, recordings = {}, {}, {}
    for sound in rules.kind:
        counts = [count_sound(sound, clip, events, rules) for clip, events, *_ in results]
        recordings[sound] = sum(c.hits + c.misses > 0 for c in counts)
        scored[sound] = f1_of(counts)
        loose[sound] = f1_of([under_each_other(sound, clip, events, rules) for clip, events, *_ in results])
    for family in dict.fromkeys(rules.family_of(sound) for sound in rules.kind):
        words = [s for s in rules.kind if rules.family_of(s) == family and recordings[s] >= LEAST_RECORDINGS]
        if not words:
            continue
        found = Counter[tuple[float, bool]]()
        for clip, events, *_ in results:
            for sound in words:
                for label in wanted_and_free(sound, clip, rules)[0]:
                    low = max(low for low in LEVELS_DB[:-1] if label.snr_db >= low or low == LEVELS_DB[0])
                    one = replace(clip, labels=[label])
                    found[low, under_each_other(sound, one, events, rules).hits > 0] += 1
        levels = ", ".join(
            f"{low:g} dB and more {found[low, True]}/{n}"
            if high > 90.0
            else f"{low:g} to {high:g} dB {found[low, True]}/{n}"
            for low, high in pairwise(LEVELS_DB)
            if (n := found[low, True] + found[low, False])
        )
        print(
            f"  {family:10} {len(words)} words: F1 as scored {mean(scored[s] for s in words):.2f}, "
            f"without edges {mean(loose[s] for s in words):.2f}; found by level: {levels}"
        )


def by_processing(results: Sequence[tuple[Any, ...]], rules: Rules) -> None:
    """Print of each way through a phone the F1 of families and of clicks and releases, and how early a release ends."""
    ways: dict[str, list[tuple[Any, ...]]] = {}
    for result in results:
        how = result[0].how
        if "chain" in how:
            way = "by telephone" if how["codec"].startswith("amr") else f"processing {how['chain']}"
            ways.setdefault(way, []).append(result)
    for way, own in sorted(ways.items()):
        scores = ", ".join(
            f"{word} {f1_of([count_sound(word, clip, events, rules) for clip, events, *_ in own]):.2f}"
            for word in ("click", "burst", "hiss", "motor_run")
        )
        early_s = []
        releases = 0
        for clip, events, *_ in own:
            for label in wanted_and_free("burst", clip, rules)[0]:
                releases += 1
                early_s += [
                    label.offset_s - e.offset_s
                    for e in events
                    if e.sound == "burst" and e.onset_s < label.offset_s and e.offset_s > label.onset_s
                ][:1]
        ends = f", ending {median(early_s):+.2f} s early" if early_s else ""
        print(
            f"  {way}, {len(own)} clips: F1 as scored {scores}; {len(early_s)}/{releases} releases found{ends}"
        )


def f1_of(counts: Sequence[Counts]) -> float:
    hits, misses, false = (sum(getattr(c, name) for c in counts) for name in ("hits", "misses", "false"))
    return 2 * hits / max(2 * hits + misses + false, 1)


def mean(values: Iterable[float]) -> float:
    listed = list(values)
    return sum(listed) / len(listed)


def unanswered(results: Sequence[tuple[Any, ...]]) -> None:
    """Print why scenes that carry their answer get none."""
    asked = [r for r in results if r[0].verdict not in (None, "cannot_tell") and r[0].carries]
    silent = [r for r in asked if r[2] == "cannot_tell"]
    normal = sum(r[0].verdict == "normal" for r in silent)
    print(f"  no verdict in {len(silent)} of {len(asked)} that carry theirs; {normal} of them are normal")
    reasons = Counter(
        next((start for start in REASONS if r[3].startswith(start)), "Another finding: " + r[3].split(".")[0])
        for r in silent
    )
    for reason, n in reasons.most_common():
        print(f"    {n:3}  {reason}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", default="second,phones")
    options = parser.parse_args()
    rules = load_rules()
    truth = Path(__file__).resolve().parents[1] / "truth"
    for name in options.sets.split(","):
        for part in parts_of(name, truth, clips_folder(), short=False):
            results = Parallel(PROCESSES)(
                delayed(heard)(part.make, entry, part.extra) for entry in part.entries
            )
            print(f"set {part.name}: {len(results)} clips")
            by_family(results, rules)
            by_processing(results, rules)
            unanswered(results)


if __name__ == "__main__":
    # By its own name, so that other processes find it.
    from tests.measure import shortfall

    shortfall.main()
