"""Print clips a minute and core, the cost of training, and growth with the size of the library.

``python -m tests.measure.speed_many [--clips 60]``: half-minute clips by `listen batch`
on one core and on all; additions and searches in libraries of some hundred to
twelve thousand clips; a small training by the command.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from listen.batch import read_plan, run_batch
from listen.batch.engines import Local, cores
from listen.batch.work import HEARD
from listen.library import open_library
from synthetic_audio import draw, render
from tests.library.sounds import wav
from tests.measure import library_similar
from tests.support.encode import encode

FAMILIES = (
    "normal_brew",
    "normal_idle",
    "no_machine",
    "normal_steam",
    "chatter",
    "starved_pump",
    "blast",
    "lasting_hiss",
)
CLIP_S = 30.0
SIZES = (100, 1_000, 12_500)
RECIPE = """
version = "speed"
seed = 3
scenes_per_family = 4
no_machine_scenes = 4
single_scenes = 1
long_families = ["fill_too_often", "fill_never_ends"]
long_scenes = 0

[textures]
labels = ["hiss", "speech"]
hidden = [32]
alpha = 0.01
epochs = 20
least_snr_db = 3.0

[onsets]
labels = ["click", "other"]
hidden = [32]
alpha = 0.01
epochs = 20
least_snr_db = 3.0
"""


def processor_s() -> float:
    """Processor time of this process and of all its children that ended."""
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in both)


def many(folder: Path, n: int) -> None:
    """Hear clips by the batch, on one core and on all."""
    clips = folder / "clips"
    clips.mkdir()
    size = 0
    for number in range(n):
        scene = render(
            draw(number, family=FAMILIES[number % len(FAMILIES)], split="train", duration_s=CLIP_S)
        )
        data = encode(scene.samples, scene.rate_hz, "m4a_aac")
        size += len(data)
        (clips / f"{number}.m4a").write_bytes(data)
    plan = read_plan(clips)
    for jobs in dict.fromkeys((1, cores())):
        out = folder / f"out{jobs}"
        start, used = time.perf_counter(), processor_s()
        done = run_batch(plan, out, engine=Local(jobs))
        took, used = time.perf_counter() - start, processor_s() - used
        start = time.perf_counter()
        run_batch(plan, out, engine=Local(jobs))
        again = time.perf_counter() - start
        kept = sum(p.stat().st_size for p in out.rglob("*.json"))
        print(
            f"batch, {jobs} of {cores()} cores: {done.count(HEARD)} clips of {CLIP_S:.0f} s in {took:.1f} s = {60 * n / took:.0f} clips a "
            f"minute, {60 * n / took / jobs:.0f} a minute and core, {n * CLIP_S / took / jobs:.0f} x real time a core; "
            f"processor {used / n:.2f} s a clip (start of the processes in it); "
            f"run again {again:.2f} s; a result {kept / n / 1000:.1f} kB, a clip {size / n / 1000:.0f} kB"
        )


def growing() -> None:
    """Add and search in libraries of several sizes."""
    for size in SIZES:
        library_similar.CLIPS = size
        with tempfile.TemporaryDirectory() as folder, open_library(folder) as library:
            mine = library_similar.fill(library)
            library.similar(mine)
            adds, finds, lists = [], [], []
            for seed in range(9):
                data = wav(100 + seed, 10.0)
                for times, call in (
                    (adds, lambda library=library, data=data: library.add_clip(data, by="measure")),
                    (finds, lambda library=library, mine=mine: library.similar(mine)),
                    (lists, lambda library=library: library.clips(limit=50)),
                ):
                    start = time.perf_counter()
                    call()
                    times.append(1000 * (time.perf_counter() - start))
            database = (Path(folder) / "library.db").stat().st_size
            middle = [statistics.median(times) for times in (adds, finds, lists)]
            print(
                f"library of {size:>6} clips: add a clip of 10 s {middle[0]:.0f} ms, similar clips {middle[1]:.0f} ms, "
                f"latest fifty {middle[2]:.0f} ms (medians of 9); database {database / 1e6:.1f} MB, {database / size / 1000:.1f} kB a clip"
            )


def training(folder: Path) -> None:
    """Train a small recipe by the command."""
    recipe = folder / "recipe.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "listen",
        "train",
        "--recipe",
        str(recipe),
        "--out",
        str(folder / "trained"),
    ]
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    took = time.perf_counter() - start
    words = (
        done.stdout.strip().splitlines()[-1:]
        if done.returncode == 0
        else done.stderr.strip().splitlines()[-1:]
    )
    print(f"training, 4 scenes a family: {took:.0f} s; {' '.join(words)}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--clips", type=int, default=60)
    asked = parser.parse_args()
    print(f"load of the machine {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as folder:
        many(Path(folder), asked.clips)
        growing()
        training(Path(folder))


if __name__ == "__main__":
    main()
