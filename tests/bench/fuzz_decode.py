"""Decode thousands of hostile files and print what became of them.

Run by hand: `python tests/bench/fuzz_decode.py [count] [seed]`. It stops with
an assertion at the first file that gets anything but a recording or a
sentence, or that takes too long; the file's name tells how to make it again.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.hear_hostile import hear_all

from listen.decode import DecodeWorker


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    started = time.perf_counter()
    with DecodeWorker() as worker:
        outcomes = hear_all(count, seed, worker)
    seconds = time.perf_counter() - started
    for outcome, times in sorted(outcomes.items(), key=lambda item: -item[1]):
        print(f"{times:>7}  {outcome}")
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{count} files, seed {seed}: {seconds:.0f} s, no crash, no hang; largest child {peak_mb:.0f} MB")


if __name__ == "__main__":
    main()
