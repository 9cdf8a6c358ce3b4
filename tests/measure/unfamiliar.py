"""How well the ear knows that it does not know: real sounds with a word of the ear against real sounds without one.

Score of a clip: the loudness-weighted share of its cells that no event of probability 0.5
or more covers, and 1 minus the highest probability of any word, averaged. Printed as
the area under the ROC curve with a 95 % interval over recordings. Only the test folds
are read: the manifest's `test`, and folds 3 to 5 of the public ten-class set
(1 and 2 may have been trained on). Nothing is tuned here.

    python -m tests.measure.unfamiliar
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed
from sklearn.metrics import roc_auc_score

from listen.vocabulary import SOUNDS
from tests.measure.clips import clips_folder

RESAMPLES = 1000
#: Cells this far over the clip's own floor are heard at all, dB.
_HEARD_DB = 6.0
_SURE = 0.5


def sounds(folder: Path) -> Iterator[tuple[Path, str, bool]]:
    """(path, recording, whether the ear has a word for it) of the test folds."""
    with (folder / "MANIFEST.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            words = {w.strip() for w in row["sounds"].replace(";", " ").split()}
            if row["fold"] == "test" and float(row["duration_s"]) >= 1.0 and words:
                yield folder / row["path"], row["recording"], bool(words & set(SOUNDS) - {"other"})
    with (folder / "env10.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            # A cry is voice, a clock ticks: the ear has words that may fit.
            if row["fold"] in "345" and row["label"] not in ("baby_cry", "clock_tick", "person_sneeze"):
                yield folder / row["path"], row["recording"], False


def unfamiliar(level_db: np.ndarray, covered: np.ndarray, best: float) -> float:
    """Score 0 (known) to 1 from cell levels (n,), what events cover (n,), and the surest word."""
    over = np.maximum(level_db - np.percentile(level_db, 5) - _HEARD_DB, 0.0)
    share = float((over * ~covered).sum() / over.sum()) if over.sum() > 0 else 1.0
    return 0.5 * (share + 1.0 - best)


def score(path: Path) -> float:
    """Unfamiliarity of a file."""
    import soundfile

    from listen.ear.events import listen_for_events
    from listen.features.collect import Collector
    from listen.pipeline import model

    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    collector = Collector(rate_hz)
    collector.push(np.ascontiguousarray(samples.mean(axis=1)))
    features = collector.finish()
    events, _ = listen_for_events(features, model())
    times_s = features.times_s
    covered = np.zeros(len(times_s), bool)
    for event in events:
        if event.probability >= _SURE:
            covered |= (times_s >= event.onset_s - 0.1) & (times_s <= event.offset_s + 0.1)
    best = max((event.probability for event in events), default=0.0)
    return unfamiliar(features.band_db(160.0, 12_500.0), covered, best)


def area(
    known: np.ndarray, scores: np.ndarray, groups: np.ndarray, seed: int = 1
) -> tuple[float, float, float]:
    """Area under the curve that tells unknown from known, with its interval over recordings."""
    rng, names = np.random.default_rng(seed), np.unique(groups)
    rows = {name: np.flatnonzero(groups == name) for name in names}
    draws = []
    for _ in range(RESAMPLES):
        chosen = np.concatenate([rows[n] for n in rng.choice(names, len(names))])
        if 0 < known[chosen].sum() < len(chosen):
            draws.append(roc_auc_score(~known[chosen], scores[chosen]))
    low, high = np.percentile(draws, [2.5, 97.5])
    return float(roc_auc_score(~known, scores)), float(low), float(high)


def main() -> None:
    folder = clips_folder()
    if folder is None:
        raise SystemExit("The folder of real clips is not here: name it in LISTEN_CLIPS.")
    listed = list(sounds(folder))
    scores = np.array(Parallel(2, batch_size=4)(delayed(score)(path) for path, _, _ in listed))
    known = np.array([k for *_, k in listed])
    groups = np.array([r for _, r, _ in listed])
    mean, low, high = area(known, scores, groups)
    print(
        f"real known {known.sum()}, real unknown {(~known).sum()} clips: area {mean:.3f} [{low:.3f}, {high:.3f}] over "
        f"{len(np.unique(groups))} recordings; median score known {np.median(scores[known]):.2f}, "
        f"unknown {np.median(scores[~known]):.2f}"
    )


if __name__ == "__main__":
    main()
