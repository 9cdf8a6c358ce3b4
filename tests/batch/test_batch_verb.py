"""The verb: exit codes, sentences, progress, and what it refuses."""

import subprocess

from listen.batch.plan import Item
from listen.batch.task import HEARD, UNUSABLE, Outcome
from listen.cli.batch import Progress
from tests.batch.conftest import batch_command, environment


def run(*words, **more):
    return subprocess.run(
        batch_command(*words),
        capture_output=True,
        text=True,
        timeout=120,
        env=environment() | more,
        check=False,
    )


def test_a_table_is_heard_with_its_stories(folder, tmp_path):
    table = tmp_path / "stories.csv"
    table.write_text("path,said,machine\n0.m4a,smoke comes out,demo-two-boiler\n1.m4a,,\n", encoding="utf-8")
    done = run(table, "--clips", folder, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "2 clips: 2 heard, 0 not usable, 0 failed; 0 of them were there before." in done.stdout
    assert "Level stop: " in done.stdout and done.stderr == ""


def test_a_broken_clip_makes_the_code_two_and_is_named_once(folder, tmp_path):
    done = run(folder, "--out", tmp_path / "out", "--jobs", "2")
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert done.stderr.splitlines() == [
        "listen: broken.m4a: this is a text file, not a recording; send the original file again."
    ]


def test_wrong_usage_is_one_sentence(folder, tmp_path):
    for words, says in (
        ((tmp_path / "absent", "--out", tmp_path / "o"), "There is no folder or table"),
        ((folder, "--out", tmp_path / "o", "--library"), "say who adds them"),
        (
            (folder, "--out", tmp_path / "o", "--jobs", 2, "--cluster", "tcp://127.0.0.1:1"),
            "leave --jobs out",
        ),
        ((folder, "--out", tmp_path / "o", "--machine", "none-such"), "There is no machine profile"),
        ((folder,), "Missing option '--out'"),
    ):
        done = run(*words, LISTEN_BY="")
        assert done.returncode == 2 and says in done.stderr and len(done.stderr.splitlines()) == 1, (
            done.stderr
        )


def test_progress_reckons_the_time_left(tmp_path):
    now = [100.0]
    progress = Progress(400, clock=lambda: now[0])
    item = Item(tmp_path / "a.m4a", "a.m4a")
    for _ in range(100):
        progress.step(item, Outcome(HEARD, "{}"), True)
    assert progress.line() == "100 of 400 clips"
    for _ in range(99):
        now[0] += 2.0
        progress.step(item, Outcome(HEARD, "{}"), False)
    progress.step(item, Outcome(UNUSABLE, sentence="a.m4a: no"), False)
    now[0] += 2.0
    # 100 heard in 200 s: 200 left take 400 s.
    assert progress.line() == "200 of 400 clips, 1 not usable, 30 a minute, about 7 min left"
