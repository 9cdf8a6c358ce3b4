"""How far simple models on the project's own features get on the public ten-class environmental set.

Run `python -m tests.measure.yardstick` (CPU, two processes). The set is ESC-10 (K. J.
Piczak, 2015, CC BY 3.0): 400 clips, five published folds that part no recording. Every
choice is nested: for each fold, candidates and their mix are chosen by inner folds of
the four others. The list of candidates itself was fixed by cross-validation within
folds 1 to 4; fold 5 had no part in that. It is a yardstick for the features only: none
of the clips is an espresso machine.
"""

from __future__ import annotations

import argparse
import collections
import time
from collections.abc import Sequence

import numpy as np
from joblib import Parallel, delayed

from tests.measure.clips import RealClip, clips_folder, real_clips
from tests.measure.stats import share
from tests.measure.yardstick_choice import left_out_sets, nested
from tests.measure.yardstick_features import SPEEDS, describe
from tests.measure.yardstick_models import GROUPS, WORDS, Candidate, Described, answers

#: Accuracy in per cent from the set's publication (ESC: Dataset for Environmental Sound
#: Classification, 2015), from memory and as noted with the clips.
REFERENCES = {"random forest of the publication": 72.7, "people, in the publication": 95.7}
CANDIDATES: tuple[Candidate, ...] = (
    *(Candidate("svm", groups, 3.0) for groups in GROUPS),
    *(Candidate("logistic", groups, 0.1) for groups in GROUPS),
    *(Candidate("svm", groups, 10.0) for groups in ("own", "own+librosa", "all")),
    *(Candidate("logistic", groups, 0.02) for groups in ("own", "own+librosa", "all")),
    *(Candidate("extra_trees", groups) for groups in ("own", "own+librosa", "all")),
    Candidate("forest", "own+librosa"),
    Candidate("boosting", "own+librosa"),
    Candidate("network", "own", 1.0),
    Candidate("network", "all", 1.0),
)
MODELS = {
    "logistic": "logistic regression", "svm": "SVM (RBF)", "extra_trees": "extra trees", "forest": "random forest",
    "boosting": "gradient boosting", "network": "small network",
}  # fmt: skip
_QUICK_MODELS = ("svm", "logistic")
_BOOTSTRAPS = 2_000


def described(clips: Sequence[RealClip], speeds: tuple[float, ...]) -> Described:
    """Describe all clips in two processes, in memory."""
    parts = Parallel(n_jobs=2, batch_size=8)(delayed(describe)(clip.path, speeds) for clip in clips)
    patches = [p for _, of_clip in parts for p in of_clip]
    return Described(
        groups={name: np.stack([groups[name] for groups, _ in parts]) for name in parts[0][0]},
        patches=np.concatenate(patches).astype(np.float16),
        owner=np.repeat(np.arange(len(patches)), [len(p) for p in patches]),
        labels=np.unique([clip.kind for clip in clips], return_inverse=True)[1],
        folds=np.array([int(clip.fold.removeprefix("env")) for clip in clips]),
    )


def check_parts(clips: Sequence[RealClip]) -> None:
    """Raise ValueError if clips of one recording lie in two folds."""
    folds = collections.defaultdict(set)
    for clip in clips:
        folds[clip.recording].add(clip.fold)
    parted = sorted(recording for recording, found in folds.items() if len(found) > 1)
    if parted:
        raise ValueError(f"These recordings lie in more than one fold: {', '.join(parted)}. Mend env10.csv.")


def by_recording(hits: np.ndarray, recordings: Sequence[str]) -> tuple[float, float]:
    """95 % interval of a share when whole recordings are drawn anew (bootstrap, percentiles)."""
    _, place = np.unique(recordings, return_inverse=True)
    count, right = np.bincount(place), np.bincount(place, weights=hits)
    drawn = np.random.default_rng(0).integers(len(count), size=(_BOOTSTRAPS, len(count)))
    low, high = np.percentile(right[drawn].sum(axis=1) / count[drawn].sum(axis=1), (2.5, 97.5))
    return float(low), float(high)


def print_main(said: np.ndarray, data: Described, clips: Sequence[RealClip]) -> None:
    """Print accuracy, folds and the worst pairs."""
    hits = said == data.labels
    low, high = by_recording(hits, [clip.recording for clip in clips])
    n_recordings = len({clip.recording for clip in clips})
    print(f"Chosen and mixed by inner folds: {share(int(hits.sum()), len(hits))}, n = {len(hits)} clips")
    print(f"  with whole recordings drawn anew ({n_recordings}): [{100 * low:.1f}, {100 * high:.1f}]")
    for name, percent in REFERENCES.items():
        print(f"  beside it, {name}: {percent} %")
    for fold in np.unique(data.folds):
        here = data.folds == fold
        print(f"  fold {fold}: {share(int(hits[here].sum()), int(here.sum()))}")
    names = sorted({clip.kind.removeprefix("env_") for clip in clips})
    pairs = collections.Counter(
        (names[t], names[s]) for t, s in zip(data.labels, said, strict=True) if t != s
    )
    print("Worst pairs (true, taken for, clips):")
    for (true, taken), count in pairs.most_common(8):
        print(f"  {true:16} {taken:16} {count}")
    for place, name in enumerate(names):
        here = data.labels == place
        print(f"  {name:16} {share(int(hits[here].sum()), int(here.sum()))}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="no copies at other speeds, two models only")
    options = parser.parse_args()
    folder = clips_folder()
    if folder is None:
        print("No folder of real clips: set LISTEN_CLIPS.")
        return
    started = time.perf_counter()
    clips = [clip for clip in real_clips(folder) if clip.kind.startswith("env_")]
    check_parts(clips)
    candidates = tuple(c for c in CANDIDATES if not options.quick or c.model in _QUICK_MODELS)
    data = described(clips, SPEEDS[:1] if options.quick else SPEEDS)
    described_s = time.perf_counter() - started
    sets = left_out_sets(data.folds)
    found = Parallel(n_jobs=2)(
        delayed(answers)(data, ~np.isin(data.folds, sorted(left_out)), candidates, seed)
        for seed, left_out in enumerate(sets)
    )
    by_set = dict(zip(sets, found, strict=True))

    def told(**which: Sequence[int]) -> str:
        said, _ = nested(by_set, data.labels, data.folds, **which)
        return share(int((said == data.labels).sum()), len(said))

    said, choices = nested(by_set, data.labels, data.folds)
    print_main(said, data, clips)
    print("Chosen for each fold (inner log loss, then the candidates, best first):")
    for fold, choice in choices.items():
        names = [str(candidates[place]) for place in choice.places]
        more = f" and {len(names) - 8} more" if len(names) > 8 else ""
        print(f"  fold {fold}: {choice.inner_loss:.3f}  {len(names)}: {', '.join(names[:8])}{more}")
    print("One model alone (groups and setting chosen by inner folds):")
    for model, name in MODELS.items():
        if mine := [i for i, c in enumerate(candidates) if c.model == model]:
            print(f"  {name:20} {told(allowed=mine, mixes=(1,))}")
    print("One set of groups alone, own = textures + cells + onsets, librosa = mel + mfcc + tonal")
    print("(logistic regression; SVM):")
    for groups, parts in GROUPS.items():
        mine = [
            [i for i, c in enumerate(candidates) if (c.model, c.groups) == (m, groups)]
            for m in ("logistic", "svm")
        ]
        texts = [told(allowed=places, mixes=(1,)) for places in mine]
        columns = sum(3 * WORDS if g == "codebook" else data.groups[g].shape[2] for g in parts)
        print(f"  {groups:14} {columns:5} columns: {'; '.join(texts)}")
    print(f"Took {time.perf_counter() - started:.0f} s, {described_s:.0f} s of it for describing the clips.")


if __name__ == "__main__":
    main()
