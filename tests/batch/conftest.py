"""Clips on the disk, made once: short scenes, the same sound twice, and what is no clip."""

import os
import socket
import subprocess
import sys
import time

import pytest

from synthetic_audio import draw, render
from tests.support.encode import encode

FAMILIES = ("normal_brew", "chatter", "blast", "no_machine", "starved_pump", "normal_steam")


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("clips")
    for number, family in enumerate(FAMILIES):
        scene = render(draw(number, family=family, split="train", duration_s=12.0))
        (place / f"{number}.m4a").write_bytes(encode(scene.samples, scene.rate_hz, "m4a_aac"))
    (place / "sub").mkdir()
    (place / "sub" / "twice.m4a").write_bytes((place / "0.m4a").read_bytes())
    (place / "broken.m4a").write_bytes(b"no clip " * 100)
    (place / "notes.txt").write_text("lies beside the clips")
    (place / ".hidden.m4a").write_bytes(b"x")
    return place


def environment():
    plain = {k: v for k, v in os.environ.items() if not k.startswith(("COV_", "PYTEST", "DASK"))}
    return plain | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def batch_command(*words):
    return [sys.executable, "-m", "listen", "batch", *map(str, words)]


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """A scheduler and two workers, as processes of their own on this machine: (address, workers)."""
    pytest.importorskip("distributed")
    place = tmp_path_factory.mktemp("dask")
    address = f"tcp://127.0.0.1:{free_port()}"

    def start(*words):
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *words, "--no-dashboard"], cwd=place, env=environment(),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    scheduler = start("scheduler", "--host", "127.0.0.1", "--port", address.rsplit(":", 1)[1])
    workers = [
        start(
            "worker",
            address,
            "--nthreads",
            "1",
            "--no-nanny",
            "--name",
            f"bench-{n}",
            "--local-directory",
            str(place),
        )
        for n in range(2)
    ]
    try:
        until = time.monotonic() + 60
        while time.monotonic() < until and n_workers(address) < 2:
            time.sleep(0.3)
        assert n_workers(address) == 2
        yield address, workers
    finally:
        # They would wait for each other for long: nothing of theirs is to be kept.
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def n_workers(address):
    from distributed import Client

    try:
        with Client(address, timeout=5, set_as_default=False) as client:
            return len(client.nthreads())
    except OSError:
        return 0
