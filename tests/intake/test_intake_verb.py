"""`listen intake`: links and messages from the command line."""

import pytest
from click.testing import CliRunner

from listen.cli import main
from listen.lan.addresses import remember


@pytest.fixture
def run(library, monkeypatch):
    monkeypatch.setenv("LISTEN_LIBRARY", str(library.place.home))

    def run(*arguments, code=0):
        result = CliRunner().invoke(main, ["intake", *arguments])
        assert result.exit_code == code, result.output
        return result

    return run


def test_a_link_needs_to_know_where_it_leads(run, library):
    run("link", code=2)
    remember(library.place.home, "https://192.168.7.20:8741")
    out = run("link", "--no-qr").stdout
    assert out.startswith("https://192.168.7.20:8741/u/") and "Withdraw it: listen intake end" in out
    assert run("link", "--address", "https://shop.example").stdout.startswith("https://shop.example/u/")
    assert "█" in run("link").stdout


def test_a_link_for_no_machine_of_ours_is_refused(run):
    run("link", "--machine", "nowhere", "--address", "https://shop.example", code=2)


def test_links_are_listed_and_ended(run, links):
    _, link = links.make(machine=None, note="job 12")
    assert f"{link.hash[:8]}  open" in run("links").stdout and "job 12" in run("links").stdout
    run("end", link.hash[:8])
    assert run("links").stdout == ""
    run("end", link.hash[:8], code=2)


def test_messages_are_listed_stops_first_and_their_files_written(run, library, tmp_path):
    library.intake.add(said="a drip", sender="Alex")
    stop = library.intake.add(level="stop", sender="Kim", files=(("../../x", b"bytes", "audio"),))
    lines = run("queue").stdout.splitlines()
    assert stop.receipt in lines[0] and "Alex" in lines[1]
    assert run("queue", "--search", "drip").stdout.count("\n") == 1
    run("show", stop.receipt, "--out", str(tmp_path / "out"))
    assert (tmp_path / "out" / f"{stop.receipt}-1").read_bytes() == b"bytes"
    run("show", "NOSUCH", code=2)
