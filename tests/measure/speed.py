"""Print how long hearing takes beside the floor measured in the same run, and how much memory.

``python -m tests.measure.speed``. Floor of the warm figure: decoding the clip and one
STFT of it; the runs alternate, so that other work on the machine meets both. Floor of
the command: an interpreter that imports numpy and ends. Beside them the same kinds of
features by plain calls of librosa, compiled and warm, and a profile of the warm run.
"""

from __future__ import annotations

import argparse
import cProfile
import importlib.util
import os
import pstats
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.support.encode import encode

REPEATS = 7
#: Targets: times the floor, times real time on one core, seconds of the command for 10 s of sound.
MOST_FLOORS, LEAST_REAL_TIME, MOST_COLD_S = 3.0, 100.0, 1.2
TAGGERS = ("tensorflow_hub", "panns_inference", "laion_clap", "transformers", "torchaudio")


def alternating(*calls: Callable[[], object]) -> list[list[float]]:
    """Return the times of each call, s, the calls taking turns."""
    runs: list[list[float]] = [[] for _ in calls]
    for call in calls:
        call()
    for _ in range(REPEATS):
        for times, call in zip(runs, calls, strict=True):
            start = time.perf_counter()
            call()
            times.append(time.perf_counter() - start)
    return runs


def largest_mb(command: list[str]) -> float:
    """Memory of the largest process of a command, asked from a small one: a fork counts its parent's."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-S", "-c", code, *command], check=True, capture_output=True, text=True
    )
    return float(done.stdout)


def by_librosa(samples: np.ndarray, rate_hz: int) -> None:
    """The kinds of features that the ear takes, by librosa's own calls: bands, lines, onsets, flatness, movement."""
    import librosa

    wide = librosa.resample(samples, orig_sr=rate_hz, target_sr=32_000, res_type="soxr_hq")
    narrow = librosa.resample(wide, orig_sr=32_000, target_sr=4_000, res_type="soxr_hq")
    power = np.abs(librosa.stft(wide, n_fft=1024, hop_length=512)) ** 2
    librosa.feature.melspectrogram(S=power, sr=32_000, n_mels=28)
    librosa.feature.spectral_flatness(S=power, power=1.0)
    librosa.feature.spectral_centroid(S=power, sr=32_000)
    librosa.feature.melspectrogram(y=wide, sr=32_000, n_fft=64, hop_length=32, n_mels=3)
    librosa.onset.onset_detect(y=wide, sr=32_000, hop_length=256)
    for n_fft, hop in ((1024, 256), (8192, 2048)):
        librosa.stft(narrow, n_fft=n_fft, hop_length=hop)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--profile", action="store_true", help="print the top of the warm run's profile")
    asked = parser.parse_args()
    import scipy.fft

    from listen.decode import DecodeWorker, open_clip, read_clip
    from listen.pipeline import hear
    from synthetic_audio import draw, render

    print(
        f"least (median) of {REPEATS} alternating runs, one thread, wall time; load of the machine {os.getloadavg()[0]:.1f}"
    )
    with tempfile.TemporaryDirectory() as folder, DecodeWorker() as worker:
        clips = {}
        for seconds in (10, 60, 600):
            scene = render(draw(3, family="normal_brew", split="held_out", duration_s=min(60.0, seconds)))
            samples = np.tile(scene.samples, max(1, seconds // 60))
            clips[seconds] = Path(folder) / f"{seconds}.m4a"
            clips[seconds].write_bytes(encode(samples, scene.rate_hz, "m4a_aac"))

        def floor(clip: Path) -> None:
            with open_clip(clip, worker=worker) as opened:
                samples = np.concatenate(list(opened.blocks()))
            frames = np.lib.stride_tricks.sliding_window_view(samples, 2048)[::512]
            for start in range(0, len(frames), 256):
                scipy.fft.rfft(frames[start : start + 256] * np.float32(0.5), axis=1)

        print(
            f"{'clip':>6}{'floor s':>16}{'warm hear s':>18}{'x floor':>9}{'x real time':>13}   targets: {MOST_FLOORS:g}, {LEAST_REAL_TIME:g}"
        )
        for seconds, clip in clips.items():
            low, warm = alternating(
                lambda clip=clip: floor(clip), lambda clip=clip: hear(clip, worker=worker)
            )
            print(
                f"{seconds:>5}s{min(low):>8.3f} ({statistics.median(low):.3f}){min(warm):>9.3f} ({statistics.median(warm):.3f})"
                f"{min(warm) / min(low):>9.1f}{seconds / min(warm):>13.0f}"
            )
        minute = read_clip(clips[60], worker=worker)
        (theirs,) = alternating(lambda: by_librosa(minute.samples, minute.rate_hz))
        print(
            f"same kinds of features of 60 s by librosa, without decoding: {min(theirs):.3f} s ({statistics.median(theirs):.3f})"
        )
        here = [name for name in TAGGERS if importlib.util.find_spec(name) is not None]
        print(f"general neural taggers installed here: {', '.join(here) or 'none, so not measured'}")
        for seconds in (10, 60):
            command = [sys.executable, "-m", "listen", "hear", str(clips[seconds]), "--json"]
            bare, cold = alternating(
                lambda: subprocess.run([sys.executable, "-c", "import numpy"], check=True),
                lambda command=command: subprocess.run(command, check=True, capture_output=True),
            )
            print(
                f"command, {seconds} s of sound: {min(cold):.2f} s ({statistics.median(cold):.2f}) = {min(cold) / min(bare):.1f} x "
                f"(interpreter that imports numpy, {min(bare):.2f} s); largest process {largest_mb(command):.0f} MB"
                + (f"   target {MOST_COLD_S:g} s" if seconds == 10 else "")
            )
        if asked.profile:
            profile = cProfile.Profile()
            profile.runcall(hear, clips[60], worker=worker)
            pstats.Stats(profile).strip_dirs().sort_stats("tottime").print_stats(14)


if __name__ == "__main__":
    main()
