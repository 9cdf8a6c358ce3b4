"""Print time and memory of `listen hear` on recordings of ten seconds to eight hours.

``python -m tests.measure.long_recording [--hours 8]``: ten minutes of scenes (fills,
brews, pauses) are coded once as m4a and strung together as often as the length asks
for, packet by packet, so that the file is a real long recording of real size and the
sound repeats. Each length is heard by the command in a process of its own; memory
is that of its largest process. Linear means: seconds of processor per hour of sound
do not grow.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import av
import numpy as np

from synthetic_audio import draw, render
from tests.support.encode import encode

#: What one ten minutes holds, each scene two minutes.
FAMILIES = ("normal_brew", "fill_too_often", "normal_idle", "normal_fill", "normal_warm_up")
RATE_HZ, SCENE_S = 48_000, 120.0
MOST_MB = 600.0
#: Asked in a small process: a fork counts its parent's memory.
_ASK = (
    "import json, resource, subprocess, sys;"
    "done = subprocess.run(sys.argv[1:], check=True, capture_output=True, text=True);"
    "used = resource.getrusage(resource.RUSAGE_CHILDREN);"
    "print(json.dumps([used.ru_utime + used.ru_stime, used.ru_maxrss / 1024])); print(done.stdout)"
)


def ten_minutes() -> bytes:
    """Return ten minutes of scenes as m4a."""
    parts = []
    for seed, family in enumerate(FAMILIES):
        scene = render(draw(seed, family=family, split="train", duration_s=SCENE_S))
        at = np.arange(round(SCENE_S * RATE_HZ)) * (scene.rate_hz / RATE_HZ)
        parts.append(np.interp(at, np.arange(len(scene.samples)), scene.samples).astype(np.float32))
    return encode(np.concatenate(parts)[None, :], RATE_HZ, "m4a_aac")


def strung(once: bytes, duration_s: float, path: Path) -> None:
    """Write a recording of a length: the packets of `once` again and again, none decoded."""
    with av.open(str(path), "w", format="ipod") as out:
        stream, written = None, 0
        while stream is None or written < duration_s * RATE_HZ:
            with av.open(io.BytesIO(once)) as source:
                track = source.streams.audio[0]
                stream = stream or out.add_stream_from_template(track)
                for packet in source.demux(track):
                    if packet.pts is None or written >= duration_s * RATE_HZ:
                        continue
                    packet.pts = packet.dts = written
                    written += packet.duration
                    packet.stream = stream
                    out.mux(packet)


def heard(path: Path) -> tuple[float, float, float, dict]:
    """Hear a file by the command; return wall s, processor s, largest process MB and the report."""
    command = [sys.executable, "-m", "listen", "hear", str(path), "--json"]
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-S", "-c", _ASK, *command], check=True, capture_output=True, text=True,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
    )  # fmt: skip
    wall_s = time.perf_counter() - started
    used, report = done.stdout.split("\n", 1)
    return (wall_s, *json.loads(used), json.loads(report))


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=8.0)
    lengths = [
        s for s in (10.0, 60.0, 600.0, 3600.0, 7200.0) if s < (asked := parser.parse_args()).hours * 3600
    ]
    once = ten_minutes()
    print(
        f"{'length s':>9}{'file MB':>9}{'wall s':>8}{'cpu s':>8}{'cpu s/h':>9}{'x real time':>12}{'largest MB':>11}  events"
    )
    worst, per_hour = 0.0, []
    with tempfile.TemporaryDirectory() as folder:
        for length_s in (*lengths, asked.hours * 3600):
            path = Path(folder) / f"{length_s:.0f}.m4a"
            strung(once, length_s, path)
            wall_s, cpu_s, peak_mb, report = heard(path)
            size_mb = path.stat().st_size / 1e6
            path.unlink()
            worst = max(worst, peak_mb)
            if length_s >= 3600:
                per_hour.append(cpu_s * 3600 / length_s)
            common = Counter(event["sound"] for event in report["events"]).most_common(5)
            print(
                f"{length_s:>9.0f}{size_mb:>9.1f}{wall_s:>8.1f}{cpu_s:>8.1f}{cpu_s * 3600 / length_s:>9.1f}{length_s / cpu_s:>12.0f}"
                f"{peak_mb:>11.0f}  {', '.join(f'{sound} {n}' for sound, n in common)}",
                flush=True,
            )
    growth = per_hour[-1] / per_hour[0] if len(per_hour) > 1 else 1.0
    print(
        f"largest process {worst:.0f} MB (target under {MOST_MB:.0f}); processor time per hour of sound grew by {growth:.2f} x from 1 h on"
    )
    return 0 if worst < MOST_MB else 1


if __name__ == "__main__":
    sys.exit(main())
