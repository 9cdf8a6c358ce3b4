"""The customer's pages under stress, over real sockets: many at once, slow and broken senders, no room, no database.

Each sender comes from an address of its own (127.0.0.2 and on), as phones do.
"""

import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from listen.intake.links import Links
from listen.library import open_library
from tests.library.sounds import wav
from tests.support import postgres
from tests.support.asgi import multipart

N_AT_ONCE = 50


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def serving(place, vault=None, **environment):
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.hard.serve", str(port), str(place), *([str(vault)] if vault else [])],
        env=os.environ | environment | {"OMP_NUM_THREADS": "1"}, cwd=Path(__file__).parents[2], stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        until = time.monotonic() + 40
        while time.monotonic() < until:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                assert process.poll() is None, process.stderr.read()
                time.sleep(0.05)
        yield port
    finally:
        process.send_signal(signal.SIGKILL)
        process.communicate()


def send(port, token, number, data, timeout_s=60.0):
    """Send a message as a form; return status and text of the answer."""
    connection = http.client.HTTPConnection(
        "127.0.0.1", port, timeout=timeout_s, source_address=(f"127.0.0.{2 + number % 250}", 0)
    )
    body, kind = multipart([("sender", f"customer {number}")], [("clips", f"{number}.wav", data)])
    try:
        connection.request("POST", f"/u/{token}/send", body, {"Content-Type": kind})
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    finally:
        connection.close()


def links_of(library, n):
    made = [Links(library.place.home).make(machine=None)[0] for _ in range(n)]
    return made


def leftovers(home):
    return [p for p in Path(home).rglob("*") if p.is_file() and p.parent.name == "incoming"]


def test_fifty_messages_at_once_all_arrive(tmp_path):
    with open_library(tmp_path / "library") as library:
        tokens = links_of(library, N_AT_ONCE)
        clips = [wav(number, 3.0) for number in range(N_AT_ONCE)]
        with serving(library.place.home) as port, ThreadPoolExecutor(N_AT_ONCE) as pool:
            answers = list(pool.map(send, [port] * N_AT_ONCE, tokens, range(N_AT_ONCE), clips))
        assert [status for status, _ in answers] == [303] * N_AT_ONCE
        kept = library.intake.queue()
        assert len(kept) == N_AT_ONCE and len({record.receipt for record in kept}) == N_AT_ONCE
        files = [file for record in kept for file in record.files]
        assert sorted(library.intake.read_file(file) for file in files) == sorted(clips)
        assert library.verify().fine and not leftovers(library.place.home)


def test_slow_and_broken_senders_keep_nobody_waiting(tmp_path):
    with open_library(tmp_path / "library") as library:
        tokens = links_of(library, 14)
        with serving(library.place.home) as port:
            held = []
            body, kind = multipart([("sender", "slow")], [("clips", "a.wav", wav(1, 3.0))])
            for number, token in enumerate(tokens[:12]):
                slow = socket.create_connection(
                    ("127.0.0.1", port), source_address=(f"127.0.0.{60 + number}", 0)
                )
                head = f"POST /u/{token}/send HTTP/1.1\r\nHost: x\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\n\r\n"
                slow.sendall(head.encode() + body[: 2000 if number % 2 else 200])
                held.append(slow)
            time.sleep(1.0)
            # Half of them hang up in the middle; the others say nothing more.
            for slow in held[::2]:
                slow.close()
            started = time.monotonic()
            assert send(port, tokens[12], 12, wav(2, 3.0), timeout_s=20)[0] == 303
            assert time.monotonic() - started < 10
            for slow in held[1::2]:
                slow.close()
            # A link whose message was cut off is still good.
            time.sleep(0.5)
            assert send(port, tokens[0], 0, wav(3, 3.0))[0] == 303
        assert len(library.intake.queue()) == 2 and library.verify().fine


def test_a_full_disk_is_told_and_the_link_stays_good(tmp_path):
    data = wav(5, 30.0)
    with open_library(tmp_path / "library") as library:
        (token,) = links_of(library, 1)
        with serving(library.place.home, HARD_FILE_BYTES=str(len(data) // 2)) as port:
            status, text = send(port, token, 1, data)
            assert status in (503, 507) and "send it again" in text.lower(), text[:2000]
        assert library.intake.queue() == () and not leftovers(library.place.home)
        with serving(library.place.home) as port:
            assert send(port, token, 1, data)[0] == 303
        assert len(library.intake.queue()) == 1 and library.verify().fine


def test_a_vault_that_may_not_be_written_is_told(tmp_path):
    with open_library(tmp_path / "library") as library:
        (token,) = links_of(library, 1)
        library.add_clip(wav(1, 1.0), by="ada")
        vault = tmp_path / "library" / "vault"
        folders = [vault, *(p for p in vault.rglob("*") if p.is_dir())]
        for folder in folders:
            folder.chmod(0o500)
        try:
            with serving(library.place.home, HARD_PLAIN="1") as port:
                status, text = send(port, token, 1, wav(6, 2.0))
                assert status == 503 and "send it again" in text.lower(), text[:2000]
                for folder in folders:
                    folder.chmod(0o700)
                # Without a restart.
                assert send(port, token, 1, wav(6, 2.0))[0] == 303
        finally:
            for folder in folders:
                folder.chmod(0o700)
        assert len(library.intake.queue()) == 1


def test_a_database_that_goes_and_comes_back(tmp_path):
    """A server of this test's own is stopped under the pages, and started again: no restart of the pages."""
    if postgres.programs() is None:
        pytest.skip("PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="listen-pg-"))
    folder.chmod(0o755)
    url = postgres.start(folder)
    try:
        with open_library(url, vault=str(tmp_path / "vault")) as library:
            tokens = links_of(library, 3)
            with serving(url, tmp_path / "vault") as port:
                assert send(port, tokens[0], 0, wav(1, 2.0))[0] == 303
                postgres.stop(folder)
                status, text = send(port, tokens[1], 1, wav(2, 2.0))
                assert status == 503 and "send it again" in text.lower(), text[:2000]
                postgres.start_again(folder)
                assert send(port, tokens[1], 1, wav(2, 2.0))[0] == 303
                assert send(port, tokens[2], 2, wav(3, 2.0))[0] == 303
            assert len(library.intake.queue()) == 3 and library.verify().fine
    finally:
        with suppress(RuntimeError, subprocess.CalledProcessError):  # a failed test may leave it stopped
            postgres.stop(folder)
        shutil.rmtree(folder, ignore_errors=True)


def test_an_alarm_is_answered_whatever_became_of_it(tmp_path):
    """A customer who ticks a danger reads what to do also where nothing can be stored, and that nobody was told."""
    with open_library(tmp_path / "library") as library:
        (token,) = links_of(library, 1)
        with serving(library.place.home, HARD_FILE_BYTES="0") as port:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("GET", f"/u/{token}")
            first = connection.getresponse().read().decode()
            danger = first.split('name="danger" value="', 1)[1].split('"', 1)[0]
            head = {"Content-Type": "application/x-www-form-urlencoded"}
            connection.request("POST", f"/u/{token}/first", f"danger={danger}", head)
            answer = connection.getresponse()
            text = answer.read().decode()
            connection.close()
    assert answer.status == 200 and "Stop: do not run the machine" in text
    assert "telephone us" in text and "We have been told" not in text
