"""The crew answers as the pipeline does, and loses no clip when a process dies."""

import contextlib
import os
import signal
import threading
import time
from pathlib import Path

import pytest

from listen.crew import Crew, pool
from listen.crew.jobs import Task
from listen.errors import UnreadableClip, UnusableClip
from listen.pipeline import hear_with_picture
from listen.report.player import picture_png
from tests.support.encode import wav
from tests.support.signals import noise


@pytest.fixture(scope="module")
def clip():
    return wav(noise(2.0, 0.1, seed=3, rate_hz=48_000), 48_000)


@pytest.fixture
def crew():
    with Crew(2) as made:
        yield made


def pids(crew):
    return {member.pid for member in crew._idle}


def test_it_answers_as_the_pipeline_does(crew, clip):
    report, png = crew.hear(clip, Task("a.wav"))
    here, picture = hear_with_picture(clip, name="a.wav")
    assert report == here
    assert png == picture_png(picture)


def test_its_sentences_are_the_pipelines(crew):
    with pytest.raises(UnreadableClip) as told:
        crew.hear(b"no sound at all" * 9, Task("letter.txt"))
    with pytest.raises(UnreadableClip) as here:
        hear_with_picture(b"no sound at all" * 9, name="letter.txt")
    assert str(told.value) == str(here.value)


def test_a_clip_can_be_played(crew, clip):
    sound, higher = crew.play(clip, "a.wav", 2.0, higher=True)
    assert sound[:4] == higher[:4] == b"RIFF" and len(higher) < len(sound)
    assert crew.play(clip, "a.wav", 5000.0, higher=True) == (b"", b"")


def test_warm_processes_are_used_again_and_replaced_when_old(clip):
    with Crew(1, recycle_after=3) as crew:
        crew.warm()
        first = pids(crew)
        assert len(first) == 1
        crew.hear(clip, Task("a.wav"))
        assert pids(crew) == first
        crew.hear(clip, Task("a.wav"))
        crew.hear(clip, Task("a.wav"))
        assert pids(crew) and pids(crew) != first


def test_a_process_that_died_while_idle_is_replaced(crew, clip):
    crew.warm()
    for pid in pids(crew):
        os.kill(pid, signal.SIGKILL)
    assert crew.hear(clip, Task("a.wav"))[0].clip.name == "a.wav"


def test_a_clip_whose_process_is_killed_is_heard_again(crew, clip, monkeypatch):
    asked = []
    ask = pool.Member.ask

    def killed_once(member, head, data, within_s):
        asked.append(member.pid)
        if len(asked) == 1:
            # The clip is handed over and the process ends before it answers.
            threading.Timer(0.05, os.kill, (member.pid, signal.SIGKILL)).start()
            os.kill(member.pid, signal.SIGSTOP)
        return ask(member, head, data, within_s)

    monkeypatch.setattr(pool.Member, "ask", killed_once)
    report, _ = crew.hear(clip, Task("a.wav"))
    assert report == hear_with_picture(clip, name="a.wav")[0]
    assert len(set(asked)) == 2


def test_a_clip_over_which_processes_hang_is_told_in_words(clip, monkeypatch):
    ask = pool.Member.ask

    def stopped(member, head, data, within_s):
        if head["job"] == "hear":
            os.kill(member.pid, signal.SIGSTOP)
        return ask(member, head, data, within_s)

    with Crew(1, patience_s=1.0) as crew:
        monkeypatch.setattr(pool.Member, "ask", stopped)
        monkeypatch.setattr(pool, "_PATIENCE_S_PER_MB", 0.0)
        with pytest.raises(UnusableClip, match=r"a\.wav could not be heard.*did not come to an end twice"):
            crew.hear(clip, Task("a.wav"))
        monkeypatch.setattr(pool.Member, "ask", ask)
        monkeypatch.setattr(crew, "_patience_s", 60.0)
        assert crew.hear(clip, Task("b.wav"))[0].clip.name == "b.wav", "the place was not given back"


def test_killing_at_random_loses_and_changes_nothing(clip):
    """Twelve clips from twelve threads while processes are killed: each is answered rightly, or in words."""
    right = hear_with_picture(clip, name="a.wav")[0]
    answers, end = [], threading.Event()

    with Crew(2) as crew:

        def ask():
            try:
                answers.append(crew.hear(clip, Task("a.wav"))[0])
            except UnusableClip as error:
                answers.append(str(error))

        def kill():
            for _ in range(4):
                if end.wait(0.3):
                    return
                for member in list(busy)[:1]:
                    with contextlib.suppress(ProcessLookupError):
                        os.kill(member.pid, signal.SIGKILL)

        busy = []
        ask_member = pool.Member.ask

        def watched(member, head, data, within_s):
            busy.append(member)
            try:
                return ask_member(member, head, data, within_s)
            finally:
                busy.remove(member)

        pool.Member.ask = watched
        try:
            killer = threading.Thread(target=kill)
            killer.start()
            threads = [threading.Thread(target=ask) for _ in range(12)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join(timeout=60)
            end.set()
            killer.join()
        finally:
            pool.Member.ask = ask_member
        assert len(answers) == 12
        assert all(answer == right or "broke off twice" in answer for answer in answers)
        assert right in answers


def test_a_verdict_goes_before_a_player(clip):
    order = []
    with Crew(1) as crew:
        crew.warm()
        with crew._member(pool.NOW, fresh=False):
            threads = [
                threading.Thread(
                    target=lambda: (crew.play(clip, "a.wav", 2.0, higher=False), order.append("player"))
                ),
                threading.Thread(
                    target=lambda: (
                        crew.hear(clip, Task("m.wav"), rank=pool.MESSAGE),
                        order.append("message"),
                    )
                ),
                threading.Thread(target=lambda: (crew.hear(clip, Task("a.wav")), order.append("verdict"))),
            ]
            for thread in threads:
                thread.start()
            deadline = time.monotonic() + 10
            while len(crew._queue) < 3 and time.monotonic() < deadline:
                time.sleep(0.01)
        for thread in threads:
            thread.join(timeout=30)
    assert order == ["verdict", "message", "player"]


def test_a_process_loads_no_page_and_no_training(crew):
    crew.warm()
    (pid, *_) = pids(crew)
    loaded = Path(f"/proc/{pid}/maps").read_text(encoding="utf-8")
    for heavy in ("pandas", "pyarrow", "sklearn", "llvmlite", "sqlalchemy"):
        assert f"site-packages/{heavy}/" not in loaded
