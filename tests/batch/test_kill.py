"""Kills: of the whole batch at any moment, and of the processes that hear."""

import os
import signal
import subprocess
import threading
import time
from pathlib import Path

import pytest

from listen.batch import read_plan, run_batch
from listen.batch.engines import Local
from listen.batch.task import FAILED, HEARD
from tests.batch.conftest import batch_command, environment


def tables(out):
    return {name: (out / name).read_bytes() for name in ("results.csv",)}


def results(out):
    return {p.relative_to(out): p.read_bytes() for p in out.glob("clips/*/*.json")}


def children_of(pid):
    """Ids of all processes below one."""
    found, todo = set(), [pid]
    while todo:
        for task in Path(f"/proc/{todo.pop()}/task").glob("*/children"):
            try:
                new = {int(n) for n in task.read_text().split()}
            except OSError:
                continue
            todo += new - found
            found |= new
    return found


@pytest.mark.parametrize("n_before_the_kill", [0, 2])
def test_a_killed_batch_goes_on_and_ends_the_same(folder, tmp_path, n_before_the_kill):
    whole, out = tmp_path / "whole", tmp_path / "out"
    subprocess.run(batch_command(folder, "--out", whole), env=environment(), capture_output=True, check=False)
    process = subprocess.Popen(
        batch_command(folder, "--out", out, "--jobs", 1), env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )  # fmt: skip
    until = time.monotonic() + 60
    while len(results(out)) < n_before_the_kill and process.poll() is None and time.monotonic() < until:
        time.sleep(0.005)
    below = children_of(process.pid)
    process.send_signal(signal.SIGKILL)
    process.wait()
    # What is there after the kill is right, byte for byte.
    half = results(out)
    assert half.items() <= results(whole).items()
    done = subprocess.run(
        batch_command(folder, "--out", out), env=environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 2 and f"{len(half)} of them were there before" in done.stdout.replace(
        f"{len(half) + 1} of them", f"{len(half)} of them"
    )
    assert results(out) == results(whole) and tables(out) == tables(whole)
    assert not list(out.rglob("*.part")) or half != results(whole)
    until = time.monotonic() + 30
    while any(Path(f"/proc/{pid}").exists() for pid in below) and time.monotonic() < until:
        time.sleep(0.1)
    assert not [pid for pid in below if Path(f"/proc/{pid}").exists()], "a process outlived the killed batch"


def test_killed_workers_lose_no_clip(folder, tmp_path):
    """While clips are heard, the hearing processes are killed: everything is heard all the same."""
    plan = read_plan(folder)
    killed = []
    stop = threading.Event()

    def kill():
        while not stop.is_set() and not killed:
            workers = [
                p for p in children_of(os.getpid()) if b"loky" in _command(p) and b"popen" in _command(p)
            ]
            if workers and list((tmp_path / "out").glob("clips/*/*.json")):
                killed.append(workers[0])
                os.kill(workers[0], signal.SIGKILL)
                stop.wait(1.5)
            stop.wait(0.01)

    thread = threading.Thread(target=kill)
    thread.start()
    try:
        done = run_batch(plan, tmp_path / "out", engine=Local(2))
    finally:
        stop.set()
        thread.join()
    assert killed and done.count(HEARD) == 7 and done.count(FAILED) == 0


def _command(pid):
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""
