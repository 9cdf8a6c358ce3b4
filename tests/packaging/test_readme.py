"""Every command line of the README does what it says, on clips synthesised here."""

import os
import re
import shlex
import shutil
import socket
import ssl
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from synthetic_audio import draw, render
from tests.packaging.test_installed import script
from tests.support.encode import encode

README = Path(__file__).parents[2] / "README.md"
#: A full training run takes about an hour: the same command is run with one of a few scenes.
SMALL_RECIPE = """
version = "readme"
seed = 3
scenes_per_family = 2
no_machine_scenes = 2
single_scenes = 1
long_families = ["fill_too_often", "fill_never_ends"]
long_scenes = 0

[textures]
labels = ["hiss", "speech"]
hidden = [4]
alpha = 0.01
epochs = 3
least_snr_db = 3.0

[onsets]
labels = ["click", "other"]
hidden = [4]
alpha = 0.01
epochs = 3
least_snr_db = 3.0
"""


def use_lines():
    block = README.read_text(encoding="utf-8").split("## Use", 1)[1].split("```sh\n", 1)[1].split("```", 1)[0]
    return [line.split("   #")[0].strip() for line in block.splitlines() if line.strip()]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with the recordings that the README's lines name."""
    folder = tmp_path_factory.mktemp("readme")
    scene = render(draw(5, family="normal_brew", split="train"))
    for name, container in (("clip.m4a", "m4a_aac"), ("a.m4a", "m4a_aac"), ("b.mp4", "mp4_video")):
        (folder / name).write_bytes(encode(scene.samples[None, :], scene.rate_hz, container))
    (folder / "clips").mkdir()
    for name in ("a.m4a", "b.mp4"):
        shutil.copy(folder / name, folder / "clips" / name)
    (folder / "small.toml").write_text(SMALL_RECIPE, encoding="utf-8")
    return folder


def words_of(line):
    words = shlex.split(line)
    assert words[0] == ".venv/bin/listen"
    return [str(script()), *words[1:]]


def surroundings(folder):
    """The library lies in the test's own folder."""
    plain = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    return plain | {"OMP_NUM_THREADS": "1", "LISTEN_LIBRARY": str(folder / "library")}


def run(words, folder):
    return subprocess.run(
        words, cwd=folder, env=surroundings(folder), capture_output=True, text=True, timeout=240, check=False
    )


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port, process, secure, within_s=60.0):
    """Whether the page answers; the shop's own authority is known to phones, not to this test."""
    url = f"{'https' if secure else 'http'}://127.0.0.1:{port}/"
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    until = time.monotonic() + within_s
    while time.monotonic() < until and process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=5, context=context) as answer:
                return answer.status == 200
        except urllib.error.HTTPError as error:
            # A PIN is asked for: the server is there.
            return secure and error.code in (401, 403)
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    return False


def test_the_readme_opens_with_the_job():
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    assert "espresso machine" in first and "is that sound normal, now?" in first


@pytest.mark.parametrize("line", use_lines())
def test_line_of_the_readme(line, bench):
    words = words_of(line)
    verb = words[1]
    if verb == "page":
        port = free_port()
        process = subprocess.Popen(
            [*words, "--port", str(port)],
            cwd=bench, env=surroundings(bench), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            assert answers(port, process, secure="--lan" in words)
        finally:
            process.terminate()
            process.wait(20)
        return
    if verb == "score":
        # Takes minutes: the gate runs this line as a step of its own.
        gate = README.with_name(".ci") / "run"
        assert not gate.is_file() or "listen score --short" in gate.read_text(encoding="utf-8")
        words.append("--help")
    if verb == "train":
        words += ["--recipe", "small.toml"]
    if "--out" in words or verb == "synth":
        shutil.rmtree(bench / "out", ignore_errors=True)
    result = run(words, bench)
    assert result.returncode == 0, result.stderr
    assert "Traceback" not in result.stderr
    if verb == "hear":
        assert re.search("normal|abnormal|cannot", result.stdout)


def test_both_start_commands_are_one_line_each():
    text = README.read_text(encoding="utf-8")
    for mark in ("<!-- demo command -->", "<!-- test command -->"):
        block = text.split(mark, 1)[1].split("```sh\n", 1)[1].split("```", 1)[0]
        assert len(block.strip().splitlines()) == 1 and "python3 -m venv .venv" in block
