"""Print how long a search for similar clips takes among 100 000 rows of measurements, first call and warm.

The rows are random around the shipped model's own mean; the tables hold 12 500
clips of 8 stretches each, as a shop of twenty years might.

``OMP_NUM_THREADS=1 python -m tests.measure.library_similar``
"""

from __future__ import annotations

import statistics
import tempfile
import time

import numpy as np
from sqlalchemy import insert

from listen.ear.bundle import load_bundle
from listen.library import open_library
from listen.library import tables as t
from listen.library.measure import NAMES_SHA256, WIDTH, Measured, measures_row
from listen.resources import shipped
from tests.library.sounds import wav

CLIPS, STRETCHES, REPEATS = 12_500, 8, 15


def fill(library) -> str:
    """Put one real clip and many made-up rows into a library; return the real one's hash."""
    mine = library.add_clip(wav(1, 64.0), by="measure").sha256
    head = load_bundle(shipped("models") / "ear").heads["textures"]
    mean, scale = np.concatenate([head.mean, head.scale]), np.concatenate([head.scale, head.scale])
    rng = np.random.default_rng(1)
    with library.database.writing() as connection:
        base = dict(connection.execute(t.clips.select()).one()._mapping)
        for start in range(0, CLIPS - 1, 500):
            names = [f"{n:064x}" for n in range(start, min(start + 500, CLIPS - 1))]
            connection.execute(insert(t.clips), [{**base, "sha256": name} for name in names])
            rows = []
            for name in names:
                values = (mean + scale * rng.standard_normal((STRETCHES, WIDTH))).astype(np.float32)
                rows.append(
                    measures_row(
                        name, Measured(None, (0, 0), None, values, np.zeros((0, 29))), base["added_at"]
                    )
                )  # type: ignore[arg-type]
            connection.execute(insert(t.measures), rows)
    return mine


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder, open_library(folder) as library:
        clip = fill(library)
        start = time.perf_counter()
        library.similar(clip)
        first_s = time.perf_counter() - start
        runs, cpu = [], time.process_time()
        for _ in range(REPEATS):
            start = time.perf_counter()
            found = library.similar(clip)
            runs.append(1000 * (time.perf_counter() - start))
        cpu_ms = 1000 * (time.process_time() - cpu) / REPEATS
        print(
            f"{CLIPS * STRETCHES} rows of {WIDTH} ({NAMES_SHA256[:8]}), a clip of {STRETCHES} stretches, {len(found)} found"
        )
        print(
            f"warm: median {statistics.median(runs):.0f} ms, worst {max(runs):.0f} ms, {cpu_ms:.0f} ms of processor time each; first call (rows read) {first_s:.1f} s"
        )
