"""Average models of several training runs and calibrate them word by word on scenes that are not scored.

The scenes are of the synthesiser's training split, of the second generator at seeds
that no list pins, and faults of the training split over real recordings of the
training fold; each set weighs as WEIGHTS says, however many rows it has. A word is
moved all the way to its fit, half of it, or not at all (SHARES): thumps and bangs
compete, so that moving one turns the other's stops off. With `--half 0` or `--half 1` every second scene is left out of the fit.

    python -m tests.measure.calibrate --textures A B C --onsets B C --starts B C --out FOLDER --recordings FOLDER
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed

from listen.ear.bundle import Head, load_bundle
from listen.learn.export import write_bundle
from listen.learn.fit import mean_of
from listen.learn.labelled import PartRows, Rows, Span, rows_from
from listen.learn.recipe import load_recipe
from listen.learn.train import stack
from listen.resources import shipped

#: No other list draws from here on; the second generator's pinned seeds lie far below.
FIRST_SEEDS = {"first": 51_300_000, "second": 6_500_000, "mixed": 52_500_000}
COUNTS = {"first": 260, "second": 260, "mixed": 150}
WEIGHTS = {"first": 1.0, "second": 0.6, "mixed": 1.0}
#: How far a word goes towards its fit. Textures and strokes stay as training calibrated them: moved, they lost stops
#: of the `--set tune` scenes (a loud bang to a click) and called no fewer faults normal on unscored scenes of the second generator.
SHARES: dict[str, dict[str, float]] = {
    "textures": {},
    "onsets": {},
    "starts": {"burst": 1.0, "blast": 1.0},
}
#: Scenes of the second generator that must hold a word, or it is left as it is; of the others, or they say nothing.
LEAST_SCENES, LEAST_OTHERS = 5, 3


def rebased(head: Head, mean: np.ndarray, scale: np.ndarray) -> Head:
    """The same head (its calibration in its last layer) for rows standardised in another way."""
    first = head.weights[0] * (scale / head.scale)[:, None]
    start = head.biases[0] + ((mean - head.mean) / head.scale) @ head.weights[0]
    weights, biases = [first, *head.weights[1:]], [start, *head.biases[1:]]
    weights[-1], biases[-1] = weights[-1] * head.slope, biases[-1] * head.slope + head.offset
    return replace(
        head, mean=mean, scale=scale, weights=tuple(weights), biases=tuple(biases),
        slope=np.ones_like(head.slope), offset=np.zeros_like(head.offset),
    )  # fmt: skip


def averaged(heads: Sequence[Head]) -> Head:
    """One head whose logits are the mean of the calibrated logits of all."""
    return mean_of([rebased(head, heads[0].mean, heads[0].scale) for head in heads])


def fitted(
    logits: Sequence[np.ndarray], yes: Sequence[np.ndarray], weights: Sequence[float]
) -> tuple[float, float]:
    """Slope and offset that make logits of several sets honest, each set at its weight."""
    from sklearn.linear_model import LogisticRegression

    each = np.concatenate([np.full(len(z), w / len(z)) for z, w in zip(logits, weights, strict=True)])
    model = LogisticRegression(C=1e3).fit(
        np.concatenate(logits)[:, None], np.concatenate(yes), sample_weight=each / each.mean()
    )
    return max(0.3, float(model.coef_[0, 0])), float(model.intercept_[0])


def moved(head: Head, word: str, slope: float, offset: float, share: float) -> Head:
    """Move the calibration of a word by a share of the way to `slope` and `offset` on top of it."""
    at = head.labels.index(word)
    slopes, offsets = head.slope.copy(), head.offset.copy()
    offsets[at] += share * (offsets[at] * slope + offset - offsets[at])
    slopes[at] *= slope**share
    return replace(head, slope=slopes, offset=offsets)


def calibrated(head: Head, sets: Mapping[str, Sequence[Rows]], shares: Mapping[str, float]) -> Head:
    """Calibrate the words of one part on the rows of the scenes of each set."""
    out = head
    logits = {
        name: [head.logits(r.x) * head.slope + head.offset if len(r.x) else np.zeros((0, len(head.labels))) for r in rows]
        for name, rows in sets.items()
    }  # fmt: skip
    for word, share in shares.items():
        at = head.labels.index(word)
        holds = {name: sum(bool(r.y[:, at].any()) for r in rows) for name, rows in sets.items()}
        used = [name for name, n in holds.items() if n >= LEAST_OTHERS]
        if holds["second"] < LEAST_SCENES:
            print(f"{word}: only {holds['second']} scenes of the second generator hold it, left as it is")
            continue
        slope, offset = fitted(
            [np.concatenate([z[:, at] for z in logits[name]]) for name in used],
            [np.concatenate([r.y[:, at] for r in sets[name]]) for name in used],
            [WEIGHTS[name] for name in used],
        )
        out = moved(out, word, slope, offset, share)
        print(f"{word}: x {slope:.2f} {offset:+.2f}, {share:.0%} of the way; scenes that hold it {holds}")
    return out


def scene_rows(kind: str, number: int, what: str, recording: Path | None, words: Sequence[str]) -> PartRows:
    """Make one scene and describe it."""
    from listen.features.collect import Collector
    from synthetic_audio import draw, render, second

    seed = FIRST_SEEDS[kind] + number
    spans: list[Span]
    scene: Any
    if kind == "mixed":
        from listen.cli.score_mixed import fault_over

        scene, labels, _, samples, rate_hz = fault_over(seed, what, "train", Path(str(recording)))
        spans = [Span(x.sound, x.onset_s, x.offset_s, x.snr_db) for x in labels]
        spans += [Span(word, 0.0, len(samples) / rate_hz, unsure=True) for word in words]
    else:
        scene = render(draw(seed, family=what, split="train")) if kind == "first" else (
            second.render(second.draw(seed, family=what), second.find(recording))
        )  # fmt: skip
        samples, rate_hz = scene.samples, scene.rate_hz
        hidden = getattr(scene, "hidden", ())
        spans = [
            Span(x.sound, x.onset_s, x.offset_s, x.snr_db, x.sound in hidden)
            for x in scene.labels
            if not getattr(x, "absent", False)
        ]
    collector = Collector(rate_hz)
    collector.push(samples)
    return rows_from(collector.finish(), spans, seed, load_recipe(shipped("models") / "recipe.toml"))


def jobs(folder: Path) -> list[tuple[str, int, str, Path | None, tuple[str, ...]]]:
    """Every scene: kind, number, family, recordings, and what the recording behind it may hold."""
    import soundfile

    from listen.cli.score_mixed import LEAST_S, MIXED
    from listen.learn.recordings import UNSURE, read_recordings
    from synthetic_audio import FAMILIES

    recipe = load_recipe(shipped("models") / "recipe.toml")
    if recipe.recordings is None:
        raise SystemExit("models/recipe.toml names no recordings.")
    behind = [
        r for r in read_recordings(folder, recipe.recordings) if soundfile.info(r.path).duration >= LEAST_S
    ]
    families = {
        "first": sorted(FAMILIES),
        # What lasts minutes says no more here than what lasts seconds.
        "second": [f for f in FAMILIES if f not in recipe.long_families],
    }
    out: list[tuple[str, int, str, Path | None, tuple[str, ...]]] = []
    for kind in ("first", "second"):
        out += [
            (kind, n, families[kind][n % len(families[kind])], folder if kind == "second" else None, ())
            for n in range(COUNTS[kind])
        ]
    for n in range(COUNTS["mixed"]):
        recording = behind[(n * 7) % len(behind)]
        words = tuple(w.removesuffix(UNSURE) for w in recording.words)
        out.append(("mixed", n, MIXED[n % len(MIXED)], recording.path, words))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    for part in SHARES:
        parser.add_argument(f"--{part}", nargs="+", type=Path, required=True, metavar="MODEL")
    parser.add_argument("--recordings", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--half", type=int, choices=(0, 1), help="fit on even (0) or odd (1) scenes alone")
    args = parser.parse_args()
    listed = [j for j in jobs(args.recordings) if args.half is None or j[1] % 2 == args.half]
    described = Parallel(n_jobs=-1)(delayed(scene_rows)(*job) for job in listed)
    heads = {}
    for part, shares in SHARES.items():
        print(part)
        sets = {
            kind: [rows[part] for job, rows in zip(listed, described, strict=True) if job[0] == kind]
            for kind in FIRST_SEEDS
        }
        print({kind: f"{len(stack(rows).x)} rows" for kind, rows in sets.items()})
        models = [load_bundle(folder) for folder in getattr(args, part)]
        heads[part] = calibrated(averaged([m.heads[part] for m in models]), sets, shares)
    info = load_bundle(args.textures[-1]).info
    write_bundle(args.out, heads, version=info.version, trained_on=info.trained_on, facts={})


if __name__ == "__main__":
    main()
