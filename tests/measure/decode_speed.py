"""Print what the guarded child costs against decoding in place, and its memory.

Run by hand: `python -m tests.measure.decode_speed [seconds]`. Everything is
measured in one run on one machine; each figure is the least of `REPEATS`.
The floor is the decoder library called in the same process, samples to numpy.
"""

from __future__ import annotations

import io
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np

sys.path.append(str(Path(__file__).parents[1]))

from support.encode import encode

from listen.decode import DecodeWorker, open_clip

REPEATS = 11


def least_ms(call: Callable[[], object]) -> float:
    """Return the least wall time of a call, milliseconds: the one other work disturbed least."""
    times = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        call()
        times.append((time.perf_counter() - started) * 1000)
    return min(times)


def in_place(data: bytes) -> int:
    with av.open(io.BytesIO(data)) as container:
        return sum(frame.to_ndarray().shape[1] for frame in container.decode(audio=0))


def guarded(path: Path, worker: DecodeWorker | None) -> int:
    with open_clip(path, worker=worker) as clip:
        return sum(len(block) for block in clip.blocks())


def process(code: str, *args: str) -> Callable[[], object]:
    command = [sys.executable, "-c", code, *args]
    return lambda: subprocess.run(command, check=True)


HEAR = """
import sys
from listen.decode import open_clip
with open_clip(sys.argv[1]) as clip:
    sum(map(len, clip.blocks()))
"""
PLACE = """
import sys, numpy, av
with av.open(sys.argv[1]) as clip:
    sum(frame.to_ndarray().shape[1] for frame in clip.decode(audio=0))
"""
COLUMNS = ("format", "in place", "warm", "fresh", "warm/place", "fresh-place", "x real time")


def row(*cells: object) -> str:
    return "".join(f"{cell:>13}" for cell in cells)


def child_peak_mb() -> float:
    """Return the largest resident memory of any ended child of this process, MB."""
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def main() -> None:
    duration_s = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    rng = np.random.default_rng(5)
    sound = rng.normal(0, 0.05, (1, round(duration_s * 48_000))).astype(np.float32)
    print(f"{duration_s:.0f} s of noise at 48 kHz, mono; wall time in ms, least of {REPEATS}")
    print(row(*COLUMNS))
    with tempfile.TemporaryDirectory() as folder, DecodeWorker() as worker:
        for name in ("m4a_aac", "ogg_opus", "mp3", "flac", "wav_16"):
            data = encode(sound, 48_000, name)
            path = Path(folder) / name
            path.write_bytes(data)
            guarded(path, worker)
            place = least_ms(lambda data=data: in_place(data))
            warm = least_ms(lambda path=path: guarded(path, worker))
            fresh = least_ms(lambda path=path: guarded(path, None))
            speed = duration_s * 1000 / warm
            cells = (f"{place:.1f}", f"{warm:.1f}", f"{fresh:.1f}", f"{warm / place:.2f}")
            print(row(name, *cells, f"{fresh - place:.1f}", f"{speed:.0f}"))
        clip = str(Path(folder) / "m4a_aac")
        floor = least_ms(process("import numpy"))
        whole, place = least_ms(process(HEAR, clip)), least_ms(process(PLACE, clip))
        print("\nwhole process, m4a, ms:")
        print(f"  guarded {whole:.0f}, in place {place:.0f}, an interpreter with numpy {floor:.0f}")
        print(f"  guarded / in place {whole / place:.2f}")
        print(f"largest resident memory of any process started here: {child_peak_mb():.0f} MB")


if __name__ == "__main__":
    main()
