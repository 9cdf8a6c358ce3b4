"""One served page and one Chromium for all browser tests; nothing but this machine may be reached."""

import io
import os
import shutil
import socket
import subprocess
import sys
import time
import wave
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest

from tests.browser.walk import settle

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
SIZES = {"phone": (390, 844), "desk": (1280, 800)}
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip


def _without(reason):
    if os.environ.get("LISTEN_REQUIRE_BROWSER") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


#: What the microphone of the tests hears: 120 Hz at a quarter of full scale.
TONE_HZ, TONE_LEVEL = 120.0, 0.25


@pytest.fixture(scope="session")
def chromium(tmp_path_factory):
    if CHROMIUM is None:
        _without("no Chromium on this machine (looked for chromium, chromium-browser, google-chrome)")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _without("the package playwright is not installed")
    with sync_playwright() as playwright:
        microphone = tmp_path_factory.mktemp("microphone") / "tone.wav"
        moments = np.arange(48_000 * 20) / 48_000
        microphone.write_bytes(as_wav(TONE_LEVEL * np.sin(2 * np.pi * TONE_HZ * moments), 48_000))
        fake = (
            "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={microphone}",
        )  # fmt: skip
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *fake])
        yield browser
        browser.close()


def _served(folder, *options):
    """Serve the page as a person does (`listen page`), with a library of its own; yield its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        sys.executable,
        "-c",
        "from listen.cli import main; main()",
        "page",
        "--port",
        str(port),
        *options,
    ]
    # The folder that holds the package under test, wherever it was imported from.
    import listen

    env = {
        **os.environ,
        "PYTHONPATH": str(Path(listen.__file__).parents[1]),
        "LISTEN_LIBRARY": str(folder / "library"),
    }
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(command, cwd=folder, env=env, stdout=log, stderr=log)
        try:
            deadline = time.monotonic() + 60
            while b"The page is at" not in (folder / "log").read_bytes():
                if process.poll() is not None or time.monotonic() > deadline:
                    pytest.fail(f"the page did not start: {(folder / 'log').read_text()}")
                time.sleep(0.1)
            yield f"{'https' if '--lan' in options else 'http'}://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(timeout=15)


@pytest.fixture(scope="session")
def served_folder(tmp_path_factory):
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="session")
def address(served_folder):
    yield from _served(served_folder)


@pytest.fixture(scope="session")
def lan_address(tmp_path_factory):
    """Serve the page to the network, behind the PIN 402975."""
    yield from _served(tmp_path_factory.mktemp("lan"), "--lan", "--new-pin", "402975")


@pytest.fixture
def library(served_folder):
    """The library of the served page, opened beside it."""
    from listen.library import open_library

    with open_library(served_folder / "library") as opened:
        yield opened


@pytest.fixture(params=SIZES, ids=str)
def size(request):
    return request.param


@pytest.fixture
def page(chromium, address, size):
    """Open the page; afterwards no error may stand in the console and nobody else may have been asked."""
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, permissions=["microphone"])
    tab = context.new_page()
    trouble, outside = [], []
    tab.on("console", lambda message: trouble.append(message.text) if message.type == "error" else None)
    tab.on("pageerror", lambda error: trouble.append(str(error)))
    tab.on("request", lambda request: outside.append(request.url) if _is_outside(request.url) else None)
    tab.on(
        "response",
        lambda answer: trouble.append(f"{answer.status} {answer.url}") if answer.status >= 400 else None,
    )
    tab.goto(address)
    tab.get_by_role("button", name="None of these").wait_for()
    settle(tab)
    yield tab
    context.close()
    assert trouble == []
    assert outside == []


def _is_outside(url):
    parts = urlsplit(url)
    return parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1"


def as_wav(samples, rate_hz):
    """Return mono samples in [-1, 1] as the bytes of a WAV file."""
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(rate_hz)
        writer.writeframes(np.round(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return out.getvalue()


@pytest.fixture(scope="session")
def brew_clip():
    """A synthesised brew, as bytes of a WAV file."""
    from synthetic_audio import draw, render

    scene = render(draw(11, family="normal_brew", split="train"))
    return as_wav(scene.samples, scene.rate_hz)
