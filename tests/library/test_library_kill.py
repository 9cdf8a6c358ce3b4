"""Nothing acknowledged is lost and nothing is half there: kills, two writers, a full disk."""

import json
import os
import resource
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from listen.errors import LibraryError
from listen.library import open_library, vault
from tests.library.sounds import wav

ENVIRONMENT = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def python(*arguments, **more):
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, timeout=200, env=ENVIRONMENT, check=False, **more
    )  # fmt: skip


def test_kills_at_random_moments_lose_nothing_acknowledged(tmp_path):
    done = python("-m", "tests.library.kill_rounds", str(tmp_path / "library"), "", "20", "7")
    found = json.loads(done.stdout)
    assert found["failures"] == []
    # The kills hit writers at work, and something had been acknowledged before.
    assert found["killed_at_work"] >= 18 and found["acknowledged"]["clip"] >= 5


def test_kills_lose_nothing_on_postgresql(tmp_path, fresh_database):
    done = python("-m", "tests.library.kill_rounds", fresh_database, str(tmp_path / "vault"), "4", "8")
    found = json.loads(done.stdout)
    assert found["failures"] == [] and found["acknowledged"].get("machine", 0) >= 1


def test_two_writers_at_once(where):
    """Two libraries opened on one place, four threads: every clip, once, and one of two adding the same."""
    with open_library(**where) as one, open_library(**where) as two:
        jobs = [(library, seed) for seed in range(6) for library in (one, two)]
        with ThreadPoolExecutor(4) as pool:
            records = list(pool.map(lambda job: job[0].add_clip(wav(job[1], 0.6), by="Kim"), jobs))
        hashes = {record.sha256 for record in records}
        assert len(hashes) == 6 == len(one.clips()) and sum(not r.was_known for r in records) == 6
        with ThreadPoolExecutor(4) as pool:
            list(
                pool.map(
                    lambda n: (one, two)[n % 2].labels.add(records[0].sha256, "hiss", 0.1, 0.2, by=f"p{n}"),
                    range(20),
                )
            )
        assert len(two.labels.of(records[0].sha256)) == 20
        assert one.verify().fine


def test_a_full_disk_is_one_sentence_and_leaves_nothing(small, monkeypatch):
    kept = small.add_clip(wav(1, 0.6), by="Kim")
    before = sorted(name for name, _ in small.vault.names())
    real, calls = os.fsync, []

    def full(handle):
        calls.append(handle)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(vault.os, "fsync", full)
    with pytest.raises(LibraryError, match=r"disk is full\. Free some space"):
        small.add_clip(wav(2, 0.6), by="Kim")
    monkeypatch.setattr(vault.os, "fsync", real)
    assert calls and sorted(name for name, _ in small.vault.names()) == before
    assert small.clips() == (kept,) and small.verify().fine
    assert not small.add_clip(wav(2, 0.6), by="Kim").was_known


LIMITED = """
import resource, signal, sys
from listen.library import open_library
from listen.errors import LibraryError
from tests.library.sounds import wav
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with open_library(sys.argv[1]) as library:
    library.add_clip(wav(1, 0.6), by="Kim")
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
    try:
        library.add_clip(sys.argv[3], by="Kim")
        print("added")
    except LibraryError as error:
        print(error)
"""


@pytest.mark.parametrize("limit", [20_000, 300_000, 390_000])
def test_a_file_that_cannot_grow_leaves_the_library_whole(tmp_path, limit):
    """The kernel refuses the write, as on a full disk: of the original, of the FLAC or of the database."""
    assert resource.RLIMIT_FSIZE is not None
    (tmp_path / "long.wav").write_bytes(wav(2, 12.0))
    done = python("-c", LIMITED, str(tmp_path / "library"), str(limit), str(tmp_path / "long.wav"))
    with open_library(tmp_path / "library") as library:
        found = library.verify()
        expected = 2 if done.stdout.strip() == "added" else 1
        assert len(library.clips()) == expected and found.fine, done.stderr
        assert not [name for name, _ in library.vault.names() if name.startswith("incoming/")]
    if limit < 384_000:
        assert "could not be stored" in done.stdout or "disk" in done.stdout, done.stdout + done.stderr


def test_a_small_disk_that_fills_up(tmp_path):
    """A real file system of 3 MB, filled to its end: only where one may be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("no file system may be mounted here")
    try:
        added = []
        with open_library(disk / "library") as library, pytest.raises(LibraryError, match="full"):
            for seed in range(40):
                added.append(library.add_clip(wav(seed, 4.0), by="Kim").sha256)
        with open_library(disk / "library") as library:
            assert {clip.sha256 for clip in library.clips()} == set(added) and len(added) >= 3
            assert library.verify().problems == ()
    finally:
        subprocess.run(["umount", str(disk)], check=True)
