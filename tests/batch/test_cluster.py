"""A real scheduler and two workers on this machine: the same results, also when a worker dies."""

import pytest

from listen.batch import read_plan, run_batch
from listen.batch.engines import Cluster, Local
from listen.batch.task import HEARD, Keep
from listen.errors import BadParameter
from listen.library import open_library


def results(out):
    return {p.relative_to(out): p.read_bytes() for p in out.glob("clips/*/*.json")} | {
        "csv": (out / "results.csv").read_bytes()
    }


def test_the_same_results_as_on_one_machine(cluster, folder, tmp_path):
    address, _ = cluster
    plan = read_plan(folder)
    run_batch(plan, tmp_path / "here", engine=Local(2))
    there = Cluster(address)
    try:
        assert there.width == 4 and there.alive()
        done = run_batch(plan, tmp_path / "there", engine=there)
        assert done.count(HEARD) == 7
        assert results(tmp_path / "there") == results(tmp_path / "here")
        # Kept from this side: the workers need not reach the library.
        home = str(tmp_path / "library")
        open_library(home).close()
        run_batch(plan[:2], tmp_path / "there", engine=there, keep=Keep(home, None, "ada"))
        with open_library(home, create=False) as library:
            assert len(library.clips()) == 2
    finally:
        there.close()


def test_a_worker_that_dies_loses_no_clip(cluster, folder, tmp_path):
    address, workers = cluster
    there = Cluster(address)
    gone = []

    def kill_one(item, outcome, before):
        if not gone:
            gone.append(workers[0].pid)
            workers[0].kill()

    try:
        done = run_batch(read_plan(folder), tmp_path / "out", engine=there, each=kill_one)
    finally:
        there.close()
    assert gone and done.count(HEARD) == 7


def test_an_address_without_a_scheduler_is_a_sentence(monkeypatch):
    from listen.batch import engines

    monkeypatch.setattr(engines, "_CONNECT_S", 0.5)
    with pytest.raises(BadParameter, match=r"No scheduler answers at tcp://127\.0\.0\.1:9"):
        Cluster("tcp://127.0.0.1:9")
    with pytest.raises(BadParameter, match="is no scheduler"):
        Cluster("file:///somewhere")
