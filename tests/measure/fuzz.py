"""Hear thousands of hostile files and print what became of them.

``python -m tests.measure.fuzz --files 10000``: every file gets a recording or one
plain sentence, in time; the process that asked lives on and hears a good clip
after each hundred; no file beside the clip is opened (the kernel is asked, by
inotify); no process takes more memory than the limit. Exit code 1 and the file's
number (``--only N`` makes it again) where one of that does not hold.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import os
import resource
import struct
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1]))

import numpy as np
from support.encode import tone, wav
from support.hear_hostile import LIMITS, PER_FILE_S
from support.hostile_more import NEIGHBOUR, all_hostile_files

from listen.decode import DecodeWorker, read_clip
from listen.errors import ListenError
from listen.pipeline import hear
from listen.report.to_dict import to_line

_IN_ACCESS, _IN_OPEN = 0x1, 0x20


class Watch:
    """Tells whether a file was opened or read (Linux: inotify(7))."""

    def __init__(self, path: Path) -> None:
        self._libc = ctypes.CDLL(None, use_errno=True)
        self._fd = self._libc.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC)
        if (
            self._fd < 0
            or self._libc.inotify_add_watch(self._fd, os.fsencode(path), _IN_ACCESS | _IN_OPEN) < 0
        ):
            raise OSError(ctypes.get_errno(), "the neighbour cannot be watched")

    def touched(self) -> bool:
        try:
            return len(os.read(self._fd, struct.calcsize("iIII") * 64)) > 0
        except BlockingIOError:
            return False


def outcome_of(name: str, data: bytes, worker: DecodeWorker) -> tuple[str, str]:
    """Return (kind, words): heard, refused, or what is wrong with the answer."""
    try:
        clip = read_clip(data, name=name, limits=LIMITS, worker=worker)
    except ListenError as error:
        words = str(error)
        if not words.startswith(f"{name}: ") or "Traceback" in words or "\n" in words:
            return "WRONG", f"a sentence out of form: {words[:200]!r}"
        return "refused", words.split(": ", 1)[1]
    if not np.isfinite(clip.samples).all() or np.abs(clip.samples).max() > 16.0 or clip.info.duration_s < 0.5:
        return "WRONG", "samples that cannot be"
    try:
        line = to_line(hear(data, name=name, worker=worker))
    except ListenError as error:
        return "refused", f"(while hearing) {str(error).split(': ', 1)[-1]}"
    return ("WRONG", "control characters in a report") if any(ord(c) < 32 for c in line) else ("heard", "")


def largest_mb(who: int) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="number of one file")
    asked = parser.parse_args()
    table: dict[str, Counter[str]] = defaultdict(Counter)
    slowest: dict[str, float] = defaultdict(float)
    sentences: Counter[str] = Counter()
    wrong: list[str] = []
    good = wav(tone(8_000, 1.0), 8_000)
    started, before_mb = time.monotonic(), 0.0
    with tempfile.TemporaryDirectory() as folder, DecodeWorker() as worker:
        neighbour = Path(folder) / NEIGHBOUR
        neighbour.write_bytes(wav(tone(8_000, 2.0), 8_000))
        watch = Watch(neighbour)
        with contextlib.chdir(folder):
            for number, (mutation, form, data) in enumerate(
                all_hostile_files(asked.files, asked.seed, folder)
            ):
                if asked.only is not None and number != asked.only:
                    continue
                name, at = f"{number}-{mutation}-{form}", time.monotonic()
                try:
                    kind, words = outcome_of(name, data, worker)
                except Exception as error:  # the run goes on: that is what is measured
                    kind, words = "WRONG", f"{type(error).__name__}: {error}"
                took = time.monotonic() - at
                if took > PER_FILE_S:
                    kind, words = "WRONG", f"took {took:.1f} s"
                if watch.touched():
                    kind, words = "WRONG", "a file beside the clip was opened"
                table[mutation][kind] += 1
                slowest[mutation] = max(slowest[mutation], took)
                if kind == "WRONG":
                    wrong.append(f"{name}: {words}")
                elif kind == "refused":
                    sentences[words] += 1
                if number == 500:
                    before_mb = largest_mb(resource.RUSAGE_SELF)
                if number % 100 == 99 and read_clip(good, worker=worker).info.duration_s != 1.0:
                    wrong.append(f"after {name}: a good clip is not heard")
    print(f"{'mutation':<20}{'files':>7}{'heard':>7}{'refused':>9}{'wrong':>7}{'slowest s':>11}")
    for mutation, counts in table.items():
        n = sum(counts.values())
        print(
            f"{mutation:<20}{n:>7}{counts['heard']:>7}{counts['refused']:>9}{counts['WRONG']:>7}{slowest[mutation]:>11.2f}"
        )
    total = sum(sum(counts.values()) for counts in table.values())
    print(f"\n{total} files, seed {asked.seed}, {time.monotonic() - started:.0f} s; wrong: {len(wrong)}")
    child_mb, self_mb = largest_mb(resource.RUSAGE_CHILDREN), largest_mb(resource.RUSAGE_SELF)
    print(f"largest child {child_mb:.0f} MB (limit {LIMITS.memory_bytes >> 20} MB of addresses); "
          f"this process {self_mb:.0f} MB ({before_mb:.0f} MB after 500 files)")  # fmt: skip
    for words, n in sentences.most_common():
        print(f"{n:>7}  {words}")
    for line in wrong[:50]:
        print(f"WRONG  {line}")
    return 1 if wrong or child_mb > LIMITS.memory_bytes >> 20 else 0


if __name__ == "__main__":
    sys.exit(main())
