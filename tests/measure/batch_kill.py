"""Kill a batch at random moments until it is done, and hold its results against those of one run.

``python -m tests.measure.batch_kill [--rounds 10]``: each round hears the same clips into
an empty folder and is killed again and again, with all that it started left to itself.
Counted are kills, results that were not whole, processes left over, and differences at the end.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from listen.batch.store import Results
from synthetic_audio import draw, render
from tests.batch.conftest import batch_command, environment
from tests.batch.test_kill import children_of, results
from tests.support.encode import encode

FAMILIES = ("normal_brew", "no_machine", "chatter", "blast", "starved_pump", "normal_steam")
N_CLIPS = 18


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    kills = at_work = torn = left = different = 0
    with tempfile.TemporaryDirectory() as place:
        clips, whole, out = Path(place) / "clips", Path(place) / "whole", Path(place) / "out"
        clips.mkdir()
        for number in range(N_CLIPS):
            scene = render(
                draw(number, family=FAMILIES[number % len(FAMILIES)], split="train", duration_s=12.0)
            )
            (clips / f"{number}.m4a").write_bytes(encode(scene.samples, scene.rate_hz, "m4a_aac"))
        start = time.monotonic()
        subprocess.run(
            batch_command(clips, "--out", whole), env=environment(), capture_output=True, check=True
        )
        took_s = time.monotonic() - start
        for _ in range(asked.rounds):
            shutil.rmtree(out, ignore_errors=True)
            while True:
                process = subprocess.Popen(
                    batch_command(clips, "--out", out),
                    env=environment(),
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
                try:
                    process.wait(rng.uniform(0.25, 0.6) * took_s)
                    break
                except subprocess.TimeoutExpired:
                    below = children_of(process.pid)
                    process.send_signal(signal.SIGKILL)
                    process.wait()
                kills += 1
                at_work += bool(below)
                store = Results(out)
                torn += sum(store.get(path.stem) is None for path in out.glob("clips/*/*.json"))
                time.sleep(3.0)
                left += sum(Path(f"/proc/{pid}").exists() for pid in below)
            same = (
                results(out) == results(whole)
                and (out / "results.csv").read_bytes() == (whole / "results.csv").read_bytes()
            )
            different += not same
    print(
        f"{asked.rounds} batches of {N_CLIPS} clips, {kills} kills ({at_work} with processes at work): results not whole {torn}, "
        f"processes left after 3 s {left}, batches that ended otherwise than undisturbed {different}"
    )
    return 1 if torn or left or different else 0


if __name__ == "__main__":
    sys.exit(main())
