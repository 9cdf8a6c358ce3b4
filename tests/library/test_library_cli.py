"""The verbs as a person types them; the sentences they answer with."""

import pytest

from listen.cli import main
from listen.cli.library import _VERBS, library
from tests.library.sounds import wav


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("LISTEN_LIBRARY", str(tmp_path / "library"))
    monkeypatch.setenv("LISTEN_BY", "Kim")

    def call(*words, code=0):
        with pytest.raises(SystemExit) as ended:
            main(list(words))
        out, err = capsys.readouterr()
        assert ended.value.code == code, err
        return out + err

    return call


def test_every_verb_has_its_help(run):
    listed = run("library", "--help")
    for verb in _VERBS:
        assert f"  {verb} " in listed
        command = library.get_command(None, verb)
        assert command is not None and command.help and len(command.help) > 20
        assert run("library", verb, "--help").startswith("Usage: listen library")


def test_a_day_at_the_bench(run, tmp_path):
    for n in range(2):
        (tmp_path / f"c{n}.wav").write_bytes(wav(n, 3.0))
    assert "There is no library" in run("library", "clips", code=2)
    assert run("library", "machine", "Front bar", "--profile", "generic-vibratory").startswith(
        "front-bar  Front bar"
    )
    out = run("library", "add", str(tmp_path / "c0.wav"), str(tmp_path / "no.wav"), "--machine", "front-bar", "--did", "0:00 brew_on",
              "--phone", "A", "--place", "counter", "--consent", "share", "--ticket", "J-1", code=2)  # fmt: skip
    clip = out.split()[0]
    assert "no.wav" in out and len(clip) == 12
    assert "was there already" in run("library", "add", str(tmp_path / "c0.wav"))
    other = run("library", "add", str(tmp_path / "c1.wav"), "--machine", "front-bar", "--did", "0:00 brew_on", "--phone", "A", "--place", "counter").split()[0]  # fmt: skip
    assert run("library", "label", clip, "hiss", "0:01", "1.5") == "label 1\n"
    assert "conflict" in run("library", "label", clip, "hiss", "1", "1.5", "--absent")
    assert "label 3 in the place of 2" in run("library", "correct", "2", "--sound", "fan")
    run("library", "withdraw", "3")
    run("library", "complete", clip)
    run("library", "good", clip)
    run("library", "outcome", "--clip", clip, "--part", "valve", "--state", "unresolved")
    shown = run("library", "show", clip, "--history")
    for words in (
        "what the tool says",
        "what people hear",
        "withdrawn by Kim",
        "what the repair showed",
        "unresolved: valve",
        "consent: share",
    ):
        assert words in shown
    assert "clears nothing" in run("library", "compare", other, "brew")
    assert "clears nothing" in run("library", "compare", other, "brew", "--with", clip)
    assert run("library", "similar", other) == "" and clip in run(
        "library", "similar", other, "--same-machine"
    )
    run("library", "consent", other, "learn", "--given-by", "Owner")
    assert other in run("library", "next") and "fan" not in run("library", "conflicts")
    assert "1 recordings" in run("library", "export", str(tmp_path / "out"))
    # Its own recordings come back to nobody as new ones.
    back = run("library", "receive", str(tmp_path / "out"), "--from", "us")
    assert "0 recordings taken in, 1 were there already" in back
    assert "all there, each with its hash" in run("library", "verify")
    assert "recordings" in run("library", "backup", str(tmp_path / "b.tar"))
    assert "1 recordings deleted" in run("library", "delete", other)
    assert "deleted on request" in run("library", "show", other, code=2)
    assert "There is a library" in run("library", "restore", str(tmp_path / "b.tar"), code=2)
    assert "had been deleted since" in run("library", "restore", str(tmp_path / "b.tar"), "--replace")
    assert "front-bar" in run("library", "machines") and clip in run(
        "library", "clips", "--search", "j-1", "--good"
    )
    assert "In use: the shipped model" in run("library", "models")
    assert "nothing to go back from" in run("library", "rollback", code=2)
    assert "no model 7" in run("library", "promote", "7", code=2)
    assert run("library", "expired") == "" and "0 recordings measured" in run("library", "measure")
    assert "no moment" in run("library", "label", clip, "hiss", "soon", "1", code=2)
    (next((tmp_path / "library" / "vault").glob("??/*"))).write_bytes(b"rotten")
    assert "damaged" in run("library", "verify", code=2)


def test_training_from_a_library_asks_who_and_finds_nothing(run, monkeypatch):
    run("library", "machine", "Front bar")
    assert "no clip to learn from" in run("train", "--library", code=2)
    monkeypatch.delenv("LISTEN_BY")
    assert "who says so" in run("train", "--library", code=2)
