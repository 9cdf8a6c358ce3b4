"""Kill a writer of the library 500 times at random moments; print what was acknowledged and what was lost.

``python -m tests.measure.library_kill [ROUNDS] [SEED]``
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.library.kill_rounds import rounds

if __name__ == "__main__":
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    start, hit, counts, failures = time.monotonic(), 0, {}, []
    # A fresh library now and then: checking one that grows without end would take longer than the writing.
    for part in range(0, n, 25):
        with tempfile.TemporaryDirectory() as folder:
            found = rounds(str(Path(folder) / "library"), None, min(25, n - part), seed + part)
        hit += found["killed_at_work"]
        failures += found["failures"]
        for kind, number in found["acknowledged"].items():
            counts[kind] = counts.get(kind, 0) + number
    print(f"{n} rounds in {time.monotonic() - start:.0f} s, {hit} killed at work")
    print("acknowledged:", ", ".join(f"{number} × {kind}" for kind, number in sorted(counts.items())))
    print(f"lost or half there: {len(failures)}")
    for failure in failures:
        print(" ", failure)
    sys.exit(1 if failures else 0)
