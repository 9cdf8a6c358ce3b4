"""Children that crash, hang, lie or grow: the clip gets a sentence, the next clip is heard."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from support.encode import amr_wb, tone, wav

from listen.decode import DecodeLimits, DecodeWorker, open_clip, read_clip
from listen.decode import clip as clip_module
from listen.decode.channel import FreshChild
from listen.errors import ListenError, UnreadableClip

GOOD = wav(tone(48_000, 1.0), 48_000)


def child_that(code: str):
    """Return a replacement for the start of the real child."""

    def start(verb, job, stdin, stdout):
        return subprocess.Popen([sys.executable, "-I", "-S", "-c", code], stdin=stdin, stdout=stdout)

    return start


HEADER = (
    "import os, struct\n"
    "def send(tag, body): os.write(1, struct.pack('<cI', tag, len(body)) + body)\n"
    'send(b\'H\', b\'{"rate_hz": 8000, "channels": 1, "codec": "x"}\')\n'
    "block = struct.pack('<BBBxI', 1, 0, 1, 8000) + bytes(16000)\n"
    "send(b'B', block)\n"
)


@pytest.mark.parametrize(
    ("code", "match"),
    [
        ("import os; os.abort()", "broke off decoding"),
        ("pass", "broke off decoding"),
        ("import os; os.kill(os.getpid(), 9)", "ended by the system"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGXCPU)", "takes longer than allowed"),
        ("import time; time.sleep(60)", "takes longer than allowed"),
        ("import os; os.write(1, b'hello world')", "broke off decoding"),
        (HEADER, "broke off decoding"),
        (HEADER + "import time; time.sleep(60)", "takes longer than allowed"),
        (HEADER + "os.write(1, b'B\\x00')", "broke off decoding"),
        (HEADER + "send(b'B', b'short')", "broke off decoding"),
        (HEADER + "send(b'E', b'[1]')", "broke off decoding"),
        (HEADER + "send(b'X', b'{\"code\": \"<script>\"}')", "broke off decoding"),
        (HEADER + "send(b'H', b'{}')", "broke off decoding"),
        (HEADER + "send(b'E', b'{}'); send(b'B', block)", "broke off decoding"),
        (HEADER.replace("8000, ", "1e9, ", 1), "broke off decoding"),
        (HEADER.replace("8000, ", "999999999, ", 1), "sample rate is impossible"),
        (HEADER + "\nwhile True: send(b'B', block)", "longer than the limit"),
    ],
)
def test_child_that_misbehaves(code, match, monkeypatch):
    monkeypatch.setattr(clip_module, "start", child_that(code))
    started = time.monotonic()
    with pytest.raises(UnreadableClip, match=match):
        read_clip(GOOD, limits=DecodeLimits(stall_s=0.7, max_duration_s=30.0))
    assert time.monotonic() - started < 5.0


def test_last_word_of_the_child_is_not_trusted(monkeypatch):
    code = (
        HEADER + 'send(b\'E\', b\'{"bad": "x", "declared_s": 1e99, "first_bad_s": [], "rate_changes": 0}\')'
    )
    monkeypatch.setattr(clip_module, "start", child_that(code))
    clip = read_clip(GOOD)
    assert clip.info.duration_s == 1.0
    assert clip.notes == ()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="address space is limited on Linux only")
@pytest.mark.parametrize("megabytes", [8, 60, 100, 118, 121, 123, 125, 130])
def test_any_memory_limit_ends_in_a_sentence_or_in_sound(megabytes):
    """From far too little to just enough: the decoder itself needs about 120 MB of address space."""
    limits = DecodeLimits(memory_bytes=megabytes << 20)
    try:
        assert len(read_clip(GOOD, limits=limits).samples) == 48_000
    except ListenError as error:
        assert any(word in str(error) for word in ("cannot be loaded", "memory", "broke off"))
    else:
        assert megabytes > 100


def test_decoding_over_its_processor_time_is_a_sentence(worker):
    """Two hours of telephone speech are a small file that takes seconds to decode."""
    head, second = amr_wb(0.0), amr_wb(1.0)[9:]
    for warm in (worker, None):
        with (
            pytest.raises(UnreadableClip, match="takes longer than allowed"),
            open_clip(head + second * 7200, limits=DecodeLimits(cpu_s=1), worker=warm) as clip,
        ):
            for _ in clip.blocks():
                pass


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="forks are used on Linux only")
def test_worker_survives_its_own_death():
    with DecodeWorker() as worker:
        read_clip(GOOD, worker=worker)
        first = worker._warm.process
        os.kill(first.pid, signal.SIGKILL)
        first.wait()
        assert len(read_clip(GOOD, worker=worker).samples) == 48_000
        assert worker._warm.process.pid != first.pid


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="forks are used on Linux only")
def test_worker_that_hangs_is_replaced(monkeypatch):
    monkeypatch.setattr("listen.decode.worker._ANSWER_S", 0.5)
    with DecodeWorker() as worker:
        read_clip(GOOD, worker=worker)
        first = worker._warm.process
        os.kill(first.pid, signal.SIGSTOP)
        assert len(read_clip(GOOD, worker=worker).samples) == 48_000
        assert first.wait(timeout=5) is not None


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="forks are used on Linux only")
def test_worker_is_recycled_and_leaves_nothing_behind():
    with DecodeWorker(recycle_after=3) as worker:
        processes = set()
        for _ in range(10):
            read_clip(GOOD, worker=worker)
            processes.add(worker._warm.process)
        assert len(processes) == 4
        assert not worker._retired
        assert sum(process.poll() is None for process in processes) == 1
    assert all(process.poll() is not None for process in processes)


def test_a_clip_left_half_way_ends_its_child(worker):
    before = len(list(Path("/proc/self/fd").iterdir())) if Path("/proc/self/fd").exists() else 0
    long = wav(tone(48_000, 30.0), 48_000)
    for warm in (worker, None):
        with open_clip(long, worker=warm) as clip:
            next(clip.blocks())
            child = clip._child
        if isinstance(child, FreshChild):
            assert child._process.poll() is not None
    if before:
        assert len(list(Path("/proc/self/fd").iterdir())) <= before


def test_many_threads_share_a_worker(worker):
    clips = [wav(tone(8_000, 1.0 + number / 10), 8_000) for number in range(12)]
    lengths: dict[int, int] = {}
    errors = []

    def hear(number: int) -> None:
        try:
            if number % 4 == 3:
                with pytest.raises(UnreadableClip):
                    read_clip(clips[number][:30], worker=worker)
            lengths[number] = len(read_clip(clips[number], worker=worker).samples)
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=hear, args=(number,)) for number in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert not errors
    assert lengths == {number: 8_000 + 800 * number for number in range(12)}


def test_worker_without_forks_gives_the_same(worker):
    plain = DecodeWorker()
    plain._forks = False
    assert np.array_equal(read_clip(GOOD, worker=plain).samples, read_clip(GOOD, worker=worker).samples)


def test_parent_never_loads_the_decoder():
    code = (
        "import sys, numpy as np\n"
        "from listen.decode import DecodeLimits, DecodeWorker, read_clip\n"
        "import io, wave\n"
        "out = io.BytesIO()\n"
        "w = wave.open(out, 'wb'); w.setnchannels(1); w.setsampwidth(2); w.setframerate(8000)\n"
        "w.writeframes(bytes(16000)); w.close()\n"
        "with DecodeWorker() as worker:\n"
        "    assert len(read_clip(out.getvalue(), worker=worker).samples) == 8000\n"
        "heavy = {'av', 'scipy', 'librosa', 'sklearn', 'pandas', 'streamlit'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    root = Path(clip_module.__file__).parents[2]
    subprocess.run([sys.executable, "-c", code], cwd=root, check=True, timeout=60)


def test_works_from_a_folder_that_shadows_modules(tmp_path: Path):
    """Files named like modules beside the clip, or in PYTHONPATH, are never run by the child."""
    for name in ("av", "json", "numpy", "listen_extra"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('run by mistake')\n")
    (tmp_path / "clip.wav").write_bytes(GOOD)
    root = Path(clip_module.__file__).parents[2]
    code = (
        f"import sys; sys.path.insert(0, {str(root)!r})\n"
        "import os; from listen.decode import read_clip\n"
        f"os.chdir({str(tmp_path)!r}); os.environ['PYTHONPATH'] = {str(tmp_path)!r}\n"
        "print(len(read_clip('clip.wav').samples))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "48000"
    assert done.stderr == ""
