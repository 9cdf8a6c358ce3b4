"""Kill a writer of the library at random moments, and hold what it acknowledged against what is there.

``python -m tests.library.kill_rounds WHERE VAULT ROUNDS SEED`` prints one JSON line: rounds, kills that
hit a writer at work, acknowledged operations by kind, and every failure.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

from listen.errors import LibraryError
from listen.learn.export import write_bundle
from listen.library import open_library
from listen.library.place import find_place
from listen.library.restore import restore
from tests.library.sounds import wav
from tests.support.heads import bundle_of


class Acknowledged:
    """A log of what was acknowledged: one flushed JSON line each, written after the call returned."""

    def __init__(self, path):
        self.path = path

    def say(self, kind, **what):
        line = json.dumps({"kind": kind, **what}) + "\n"
        with self.path.open("a", encoding="utf-8") as file:
            file.write(line)

    def lines(self):
        if not self.path.exists():
            return []
        # The last line may be cut off by the kill.
        whole = self.path.read_text(encoding="utf-8").split("\n")[:-1]
        return [json.loads(line) for line in whole]


def work(where, vault, log, seed, model):
    """Write without end, in the order of a shop's day."""
    rng = random.Random(seed)
    with open_library(where, vault=vault) as library:
        made = library.machines.add(f"machine {seed}", by="Kim")
        log.say("machine", id=made.id)
        n = 0
        while True:
            n += 1
            data = wav(seed * 1000 + n, 0.6)
            clip = library.add_clip(
                data, machine=made.id, by="Kim", said="hisses", story=[(0.1, "brew_on")], consent="learn"
            )
            log.say("clip", id=clip.sha256)
            label = library.labels.add(clip.sha256, "hiss", 0.1, 0.4, by="Kim")
            log.say("label", id=label.id, clip=clip.sha256, sound="hiss")
            if rng.random() < 0.5:
                label = library.labels.correct(label.id, by="Lou", sound="fan")
                log.say("label", id=label.id, clip=clip.sha256, sound="fan")
            if rng.random() < 0.5:
                outcome = library.outcomes.add(clip=clip.sha256, part="valve", by="Kim")
                log.say("outcome", id=outcome.id)
            if rng.random() < 0.5:
                message = library.intake.add(
                    said="wet", files=(("a.wav", wav(seed * 1000 + n + 500, 0.5), "audio"),)
                )
                log.say("intake", id=message.receipt)
            if rng.random() < 0.4:
                version = library.models.add(model, by="Kim", clips=[clip.sha256])
                log.say("model", id=version.id)
                library.models.promote(version.id, by="Kim", why="test")
                log.say("promoted", id=version.id)
            if rng.random() < 0.3:
                path = log.path.with_name(f"backup-{seed}-{n}.tar")
                library.backup(path)
                log.say("backup", path=str(path))
            if rng.random() < 0.3:
                log.say("deleting", id=clip.sha256)
                library.delete(clip.sha256, by="Kim", why="asked")
                log.say("deleted", id=clip.sha256)


def check(where, vault, log, failures, note):
    """Open the library again; everything acknowledged is there whole, and it verifies."""
    lines = log.lines()
    deleting = {x["id"] for x in lines if x["kind"] == "deleting"}
    deleted = {x["id"] for x in lines if x["kind"] == "deleted"}
    with open_library(where, vault=vault) as library:
        found = library.verify()
        failures += [f"{note}: {problem}" for problem in found.problems]
        clips = {clip.sha256: clip for clip in library.clips()}
        outcomes = {o.id for o in library.outcomes.of()}
        models = {m.id for m in library.models.all()}
        machines = {m.id for m in library.machines.all()}
        for x in lines:
            kind = x["kind"]
            if kind == "clip" and x["id"] not in deleting:
                clip = clips.get(x["id"])
                whole = (
                    clip is not None
                    and clip.said == "hisses"
                    and len(library.original(x["id"])) == clip.size_bytes
                )
                whole = whole and library.playable(x["id"]).stat().st_size > 0
            elif kind == "label" and x["clip"] not in deleting:
                rows = {r.id: r.sound for r in library.labels.of(x["clip"], history=True)}
                whole = rows.get(x["id"]) == x["sound"]
            elif kind == "outcome":
                whole = x["id"] in outcomes
            elif kind == "intake":
                message = library.intake.get(x["id"])
                whole = len(message.files) == 1 and len(library.intake.read_file(message.files[0])) > 100
            elif kind == "model":
                whole = x["id"] in models and library.models.folder(x["id"]).is_dir()
            elif kind == "machine":
                whole = x["id"] in machines
            else:
                continue
            if not whole:
                failures.append(f"{note}: acknowledged and lost or half there: {x}")
        for sha256 in deleted:
            if sha256 in clips or library.vault.hash_of(sha256) is not None:
                failures.append(f"{note}: deleted and still there: {sha256}")
        # A correction is whole or not at all: never two standing labels of one, never none.
        for sha256 in clips:
            standing = library.labels.of(sha256)
            if len(standing) > 1 or (not standing and library.labels.of(sha256, history=True)):
                failures.append(f"{note}: a correction is half there: {sha256}")
    backups = [Path(x["path"]) for x in lines if x["kind"] == "backup"]
    if backups:
        with tempfile.TemporaryDirectory() as folder:
            try:
                restore(backups[-1], find_place(Path(folder) / "restored"))
            except LibraryError as error:
                failures.append(f"{note}: an acknowledged backup cannot be restored: {error}")
    for path in backups:
        path.unlink(missing_ok=True)
    return lines


def rounds(where, vault, n, seed, longest_s=1.2):
    """Fork, let work, kill, check; n times on one library."""
    rng = random.Random(seed)
    failures, counts, hit = [], {}, 0
    base = Path(tempfile.mkdtemp(prefix="listen-kill-"))
    bundle = bundle_of()
    write_bundle(base / "model", bundle.heads, version="1", trained_on="nothing", facts={})
    try:
        for number in range(n):
            log = Acknowledged(base / f"log-{number}")
            pid = os.fork()
            if pid == 0:
                try:
                    work(where, vault, log, seed * 10_000 + number, base / "model")
                except BaseException as error:
                    log.say("failed", error=repr(error))
                    os._exit(1)
            time.sleep(rng.uniform(0.02, longest_s))
            os.kill(pid, signal.SIGKILL)
            _, status = os.waitpid(pid, 0)
            hit += os.WIFSIGNALED(status)
            for x in check(where, vault, log, failures, f"round {number}"):
                counts[x["kind"]] = counts.get(x["kind"], 0) + 1
                if x["kind"] == "failed":
                    failures.append(f"round {number}: the writer itself failed: {x['error']}")
    finally:
        shutil.rmtree(base, ignore_errors=True)
    return {"rounds": n, "killed_at_work": hit, "acknowledged": counts, "failures": failures}


if __name__ == "__main__":
    print(json.dumps(rounds(sys.argv[1], sys.argv[2] or None, int(sys.argv[3]), int(sys.argv[4]))))
