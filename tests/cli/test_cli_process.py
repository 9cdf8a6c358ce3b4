"""The command line as a process: real clips, exit codes, one line of stderr, JSON Lines, the server."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

import listen
from listen.report.to_dict import schema

PROGRAM = [sys.executable, "-c", "from listen.cli import main; main()"]
ENV = {**os.environ, "PYTHONPATH": str(Path(listen.__file__).parents[1]), "OMP_NUM_THREADS": "1"}


def run(*arguments, env=None, cwd=None):
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        env={**ENV, **(env or {})},
        cwd=cwd,
    )


@pytest.fixture(scope="module")
def clips(tmp_path_factory):
    """Two synthesised scenes and what cannot be heard, in a folder."""
    folder = tmp_path_factory.mktemp("clips")
    made = run("synth", folder, "--seed", 3, "--count", 1, "--family", "normal_brew")
    assert made.returncode == 0, made.stderr
    (folder / "empty.m4a").write_bytes(b"")
    (folder / "letter.wav").write_text("Dear technician, it hisses.\n" * 30)
    return folder


def test_hear_prints_what_a_technician_reads(clips):
    done = run("hear", clips / "normal_brew-000003.wav")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("normal_brew-000003.wav")
    assert "Verdict:" in done.stdout and "Because:" in done.stdout and "\x1b" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_clips_that_cannot_be_used_are_one_line_each_and_exit_two(clips):
    bad = ["empty.m4a", "letter.wav", "missing.mp3", "."]
    done = run("hear", *bad, "normal_brew-000003.wav", "--json", cwd=clips)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == len(bad)
    assert "Traceback" not in done.stderr
    (line,) = done.stdout.splitlines()
    report = json.loads(line)
    Draft202012Validator(schema()).validate(report)
    assert report["clip"]["name"] == "normal_brew-000003.wav"


def test_the_same_clip_gives_the_same_report_byte_for_byte(clips):
    first, second = (run("hear", clips / "normal_brew-000003.wav", "--json") for _ in range(2))
    assert first.stdout == second.stdout != ""


def test_danger_in_the_words_stops_whatever_the_clip_carries(clips):
    done = run("hear", clips / "normal_brew-000003.wav", "--said", "there is smoke", "--json")
    report = json.loads(done.stdout)
    assert done.returncode == 0
    assert report["level"] == "stop" and report["say_first"] and report["retake"] is None
    shown = run("hear", clips / "normal_brew-000003.wav", "--said", "there is smoke").stdout
    assert shown.index("STOP") < shown.index("Verdict:")


def test_story_and_gauge_reach_the_report(clips):
    done = run(
        "hear", clips / "normal_brew-000003.wav", "--did", "0:00 idle_hot", "--gauge", "boiler=9.5", "--json",
        "--machine", "demo-two-boiler",
    )  # fmt: skip
    report = json.loads(done.stdout)
    assert report["story"][0]["state"] == "idle_hot" and report["story"][0]["source"] == "given"
    assert report["level"] == "stop"


def test_reports_are_written_beside(clips, tmp_path):
    done = run("hear", clips / "normal_brew-000003.wav", "--report", tmp_path / "out")
    assert done.returncode == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "normal_brew-000003.html",
        "normal_brew-000003.json",
    ]


def test_a_plain_locale_and_a_closed_pipe_do_no_harm(clips):
    plain = run("hear", clips / "normal_brew-000003.wav", env={"PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
    assert plain.returncode == 0 and "Verdict:" in plain.stdout
    process = subprocess.Popen(
        [*PROGRAM, "hear", "--help"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENV
    )
    process.stdout.close()
    assert b"Traceback" not in process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) in (0, 1)


@pytest.mark.parametrize("arguments", [[], ["hear"], ["hear", "--mains", "55", "x.wav"], ["sing"]])
def test_wrong_usage_exits_two(arguments):
    done = run(*arguments)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_help_loads_neither_numbers_nor_server():
    code = (
        "import sys\nfrom listen.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print([name for name in ('numpy', 'av', 'streamlit', 'jinja2') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, env=ENV)
    assert done.stdout.splitlines()[-1] == "[]"


def test_synth_is_the_same_for_the_same_seed(tmp_path):
    for folder in ("a", "b"):
        assert (
            run("synth", tmp_path / folder, "--seed", 8, "--count", 1, "--family", "normal_steam").returncode
            == 0
        )
    (first,), (second,) = (sorted((tmp_path / folder).glob("*.wav")) for folder in ("a", "b"))
    assert first.read_bytes() == second.read_bytes()
    truth = json.loads(first.with_suffix(".json").read_text())
    assert truth["family"] == "normal_steam"


def test_demo_prints_three_verdicts_and_leaves_nothing_behind(tmp_path):
    done = run("demo", "--no-page", env={"TMPDIR": str(tmp_path)})
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("Verdict:") == 3
    assert "FINE:" in done.stdout and "SERVICE:" in done.stdout
    assert list(tmp_path.iterdir()) == []


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as reply:
            return reply.status == 200
    except (urllib.error.URLError, OSError):
        return False


def joined(port, host):
    """Ask for the page's socket under a host name; return the status."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as line:
        line.sendall(
            f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
        )
        return int(line.recv(64).split()[1])


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_page_serves_this_machine_only_and_ends_with_its_child(ending):
    port = free_port()
    process = subprocess.Popen(
        [*PROGRAM, "page", "--port", str(port)], stdout=subprocess.PIPE, text=True, env=ENV,
        # A test run in the background has Ctrl-C switched off, and so would have its children.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    try:
        assert f"http://127.0.0.1:{port}" in process.stdout.readline()
        assert answers(port)
        assert joined(port, f"127.0.0.1:{port}") == 101
        assert joined(port, "elsewhere.example") == 403  # a name that was bent to this machine
        taken = run("page", "--port", port)
        assert taken.returncode == 2 and f"Port {port} is taken" in taken.stderr
        process.send_signal(ending)
        assert process.wait(timeout=30) == 0
        deadline = time.monotonic() + 10
        while answers(port) and time.monotonic() < deadline:
            time.sleep(0.1)
        assert not answers(port)
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
