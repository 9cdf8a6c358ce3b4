"""Make the phone set: synthesised scenes through a real browser's microphone path and real codecs.

    python -m tests.measure.make_phone_set --work FOLDER [--workers 3]

Clips go to tests/truth/phones, their truth to tests/truth/phones.json. The run
takes as long as the clips last, divided by the workers; what is done is kept in
the work folder, so that a run that was broken off goes on. The set was made
once; run it again only to replace it, and say so wherever its scores stand.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import shutil
import time
import traceback
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import synthetic_audio
from listen.cli.score_sets import list_hash
from synthetic_audio.families import LENGTHS_S
from tests.measure import phone_codecs, phone_truth
from tests.measure.phone_recorder import Recorder, recorder

TRUTH = Path(__file__).resolve().parents[1] / "truth"
FIRST_SEED = 2_000_000
#: These need more than a minute to show themselves; the set would not stay small.
TOO_LONG = ("fill_too_often", "fill_never_ends")
FAMILIES = tuple(f for f in synthetic_audio.FAMILIES if f not in TOO_LONG)
LARGEST_BYTES, LARGEST_SET_BYTES = 60_000, 8_000_000

OFF = {"echo": False, "noise": False, "gain": False}
CHAINS: dict[str, dict[str, bool]] = {
    "all_off": OFF,
    "all_on": {"echo": True, "noise": True, "gain": True},
    "noise_only": {**OFF, "noise": True},
    "gain_only": {**OFF, "gain": True},
    "noise_and_gain": {**OFF, "noise": True, "gain": True},
}
#: Each family is recorded once by each of these.
WAYS: tuple[tuple[str, str], ...] = (
    ("all_on", "webm_opus_24k"), ("all_off", "webm_opus_32k"), ("all_off", "m4a_aac"), ("all_on", "m4a_aac"),
    ("gain_only", "webm_opus_32k"), ("all_off", "ogg_opus_16k"), ("noise_only", "webm_opus_24k"),
    ("all_off", "amr_nb"), ("all_on", "webm_opus_32k"), ("noise_and_gain", "m4a_aac"), ("all_off", "webm_opus_24k"),
    ("gain_only", "m4a_aac"), ("all_on", "ogg_opus_16k"), ("all_on", "amr_nb"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Job:
    """One clip to make."""

    number: int
    seed: int
    family: str
    chain: str
    codec: str

    @property
    def file(self) -> str:
        return f"{self.number:04d}{phone_codecs.CODECS[self.codec].suffix}"


def jobs() -> list[Job]:
    """Return all clips of the set in order: families in turn, each by every way."""
    out = []
    for turn in range(len(WAYS)):
        for place, family in enumerate(FAMILIES):
            # Shifted from family to family, so that the first scenes already mix all ways.
            chain, codec = WAYS[(turn + place) % len(WAYS)]
            number = len(out)
            out.append(Job(number, FIRST_SEED + number, family, chain, codec))
    return out


def length_s(job: Job) -> float:
    """Return the length of the scene: as short as its family allows, and a little more.

    Scenes are drawn short instead of being cut, so that their story stays whole.
    """
    least = max(6.0, LENGTHS_S[job.family][2])
    spare = max(0.0, min(2.0, 10.0 - least))
    return round(least + spare * float(np.random.default_rng(job.seed).random()), 2)


def scene_of(job: Job) -> tuple[synthetic_audio.Scene, np.ndarray]:
    """Return the scene, judged in the codec's band, and what is played (n,) at 48 kHz."""
    spec = synthetic_audio.draw(
        job.seed, family=job.family, split="held_out", duration_s=length_s(job), phone=False
    )
    scene = synthetic_audio.render(replace(spec, phone=phone_codecs.band_only(job.codec)))
    played = np.sum(list(scene.stems.values()), axis=0).astype(np.float32)
    return scene, played


def make(job: Job, browser: Recorder, folder: Path) -> dict[str, Any]:
    """Record one clip into `folder`; return its row, or one with `dropped` and the reason."""
    scene, played = scene_of(job)
    codec = phone_codecs.CODECS[job.codec]
    taken = browser.record(played, CHAINS[job.chain], codec.browser_bit_rate)
    wanted = CHAINS[job.chain]
    got = {key: taken.settings[key] for key in wanted}
    row: dict[str, Any] = {"file": job.file, "seed": job.seed, "family": job.family}
    if got != wanted:
        return row | {"dropped": f"the browser set {got}"}
    data = taken.data if codec.browser_bit_rate else phone_codecs.encode(taken.samples(), job.codec)
    if len(data) > LARGEST_BYTES:
        return row | {"dropped": f"{len(data)} bytes"}
    recorded = phone_truth.decode(data)
    lag_s, why = phone_truth.align(played, recorded)
    if lag_s is None:
        (folder / f"dropped-{job.file}").write_bytes(data)
        return row | {"dropped": why}
    suppressed = wanted["noise"]
    truth = phone_truth.truth_of(
        scene, played, recorded, lag_s, suppressed=suppressed, band_hz=phone_codecs.band_hz(job.codec)
    )
    (folder / job.file).write_bytes(data)
    return row | {
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "duration_s": round(len(recorded) / phone_truth.RATE_HZ, 3),
        "cut_start_s": 0.0,
        "scene_s": scene.spec.duration_s,
        "lag_s": round(lag_s, 4),
        "chain": job.chain,
        "processing": wanted,
        "codec": job.codec,
        "mains_hz": scene.mains_hz,
        "machine": scene.machine,
        "gauges": scene.gauges,
        "verdict": scene.verdict,
        **truth,
    }


def work(mine: list[Job], folder: Path, number: int) -> None:
    """Make some of the clips, one after the other; each row is kept as soon as it is there."""
    own = folder / f"worker{number}"
    own.mkdir(parents=True, exist_ok=True)
    with recorder(own) as browser:
        (folder / "browser.txt").write_text(f"Chromium {browser.version}\n")
        for job in mine:
            kept = folder / f"{job.number:04d}.json"
            if kept.exists():
                continue
            begun = time.monotonic()
            row = make(job, browser, folder)
            kept.write_text(json.dumps(row, sort_keys=True), encoding="utf-8")
            losses = [(d["sound"], d["loss_db"]) for d in row.get("deciding", [])]
            print(
                f"{job.file} {job.family} {job.chain} {job.codec} {row.get('dropped') or row['lag_s']} "
                f"{row.get('bytes')} {losses} {time.monotonic() - begun:.1f} s", flush=True,
            )  # fmt: skip


def _work_and_tell(mine: list[Job], folder: Path, number: int) -> None:
    try:
        work(mine, folder, number)
    except Exception:
        traceback.print_exc()
        raise


def gather(folder: Path, target: Path) -> dict[str, Any]:
    """Bring what was made to its place; return the list as written."""
    rows = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("[0-9]*.json"))]
    kept = [row for row in rows if "dropped" not in row]
    dropped = [f"{row['family']} {row['seed']}: {row['dropped']}" for row in rows if "dropped" in row]
    clips = target / "phones"
    clips.mkdir(parents=True, exist_ok=True)
    for old in clips.glob("[0-9]*.*"):
        old.unlink()
    for row in kept:
        shutil.copyfile(folder / row["file"], clips / row["file"])
        row["file"] = f"{clips.name}/{row['file']}"
    total = sum(row["bytes"] for row in kept)
    if total > LARGEST_SET_BYTES:
        raise SystemExit(f"The set has {total} bytes, more than {LARGEST_SET_BYTES}: lower the rates.")
    listed = {
        "schema": "listen-pinned/1",
        "made_with": (folder / "browser.txt").read_text().strip(),
        "planned": len(jobs()),
        "dropped": dropped,
        "sha256": list_hash(kept),
        "clips": kept,
    }
    text = json.dumps(listed, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    # One clip a line: a change shows as the lines that changed.
    (target / "phones.json").write_text(text.replace('{"bytes":', '\n{"bytes":') + "\n", encoding="utf-8")
    print(f"{len(kept)} clips, {total} bytes, {len(dropped)} dropped")
    return listed


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--work", type=Path, required=True, help="Folder for what is done so far.")
    parser.add_argument("--target", type=Path, default=TRUTH)
    parser.add_argument("--workers", type=int, default=3)
    parser.add_argument("--count", type=int, help="Only the first of them, to try.")
    parser.add_argument("--only-gather", action="store_true", help="Record nothing more.")
    options = parser.parse_args()
    options.work.mkdir(parents=True, exist_ok=True)
    if not options.only_gather:
        todo = jobs()[: options.count]
        shares = [todo[k :: options.workers] for k in range(options.workers)]
        crew = [
            multiprocessing.Process(target=_work_and_tell, args=(share, options.work, number))
            for number, share in enumerate(shares)
        ]
        for one in crew:
            one.start()
        for one in crew:
            one.join()
        if any(one.exitcode for one in crew):
            raise SystemExit("A worker failed; what is done is kept: run the same command again.")
    gather(options.work, options.target)


if __name__ == "__main__":
    main()
