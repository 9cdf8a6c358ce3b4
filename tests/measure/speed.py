"""Print how long hearing takes, as ratios to a floor measured in the same run, and how much memory.

Floor of the warm figure: decoding the clip and one STFT of it. Floor of the
command: an interpreter that imports numpy and ends.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.support.encode import encode

REPEATS = 5


def _timed(call: object) -> float:
    runs = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        call()  # type: ignore[operator]
        runs.append(time.perf_counter() - start)
    return statistics.median(runs)


def _largest_mb(command: list[str]) -> float:
    """Memory of the largest process of a command, asked from a small one: a fork counts its parent's."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-S", "-c", code, *command], check=True, capture_output=True, text=True
    )
    return float(done.stdout)


def main() -> None:
    import scipy.fft

    from listen.decode import DecodeWorker, open_clip
    from listen.pipeline import hear
    from synthetic_audio import draw, render

    scene = render(draw(3, family="normal_brew", split="held_out", duration_s=60.0))
    with tempfile.TemporaryDirectory() as folder:
        clip = Path(folder) / "minute.m4a"
        clip.write_bytes(encode(scene.samples, scene.rate_hz, "m4a_aac"))

        with DecodeWorker() as worker:

            def floor() -> None:
                with open_clip(clip, worker=worker) as opened:
                    samples = np.concatenate(list(opened.blocks()))
                frames = np.lib.stride_tricks.sliding_window_view(samples, 2048)[::512]
                for start in range(0, len(frames), 256):
                    scipy.fft.rfft(frames[start : start + 256] * np.float32(0.5), axis=1)

            floor()
            hear(clip, worker=worker)
            floor_s, warm_s = _timed(floor), _timed(lambda: hear(clip, worker=worker))
        bare_s = _timed(lambda: subprocess.run([sys.executable, "-c", "import numpy"], check=True))
        command = [sys.executable, "-m", "listen", "hear", str(clip), "--json"]
        subprocess.run(command, check=True, capture_output=True)
        cold_s = _timed(lambda: subprocess.run(command, check=True, capture_output=True))
        peak_mb = _largest_mb(command)
    print(
        f"60 s m4a, median of {REPEATS}: warm hear {warm_s:.2f} s = {warm_s / floor_s:.1f} × (decode + one STFT, {floor_s:.2f} s)"
    )
    print(
        f"  command {cold_s:.2f} s = {cold_s / bare_s:.1f} × (interpreter that imports numpy, {bare_s:.2f} s); largest process {peak_mb:.0f} MB"
    )


if __name__ == "__main__":
    main()
