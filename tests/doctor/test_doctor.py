"""Each part in order and out of order: one sentence with what to do, and nothing is changed by looking."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from listen.doctor import computer, hearing, look, shop
from listen.lan.authority import prepare
from listen.library import open_library
from listen.library.place import find_place
from listen.resources import shipped
from tests.doctor.make_clips import FILES
from tests.library.sounds import wav


@pytest.fixture
def place(tmp_path):
    return find_place(tmp_path / "library")


@pytest.fixture
def kept(place):
    with open_library(place.home) as library:
        record = library.add_clip(wav(1, 0.7), name="a.wav", by="ada")
    prepare(place.home / "lan", ("192.168.1.20", "localhost"))
    return record


def standing(signs, part):
    found = [sign for sign in signs if sign.part == part]
    assert len(found) == 1
    return found[0].standing, found[0].sentence


def snapshot(folder):
    return {p: p.stat().st_mtime_ns for p in folder.rglob("*") if p.is_file()}


def test_all_in_order(place, kept):
    before = snapshot(place.home)
    signs = look(place)
    assert [s.part for s in signs] == [
        "install", "model", "knowledge", "formats", "library", "vault", "disk", "certificate", "clock",
    ]  # fmt: skip
    assert {s.part: s.standing for s in signs if s.part != "disk"} == {
        s.part: "fine" for s in signs if s.part != "disk"
    }, signs
    assert snapshot(place.home) == before


def test_a_fresh_computer_has_notes_and_nothing_wrong(place):
    signs = look(place)
    assert "wrong" not in {s.standing for s in signs if s.part != "disk"}
    assert standing(signs, "library")[0] == "note" and not place.home.exists()


def test_every_kind_of_recording_is_among_the_samples():
    assert {path.name for path in hearing.CLIPS.iterdir()} == set(FILES)


def test_a_damaged_sample_is_noticed(tmp_path, monkeypatch):
    for name in ("tone.wav", "tone.flac"):
        (tmp_path / name).write_bytes((hearing.CLIPS / name).read_bytes())
    (tmp_path / "tone.mp3").write_bytes(b"no sound" * 100)
    monkeypatch.setattr(hearing, "CLIPS", tmp_path)
    sign = hearing.formats()
    assert sign.standing == "wrong" and "1 of 3 kinds" in sign.sentence and "tone.mp3" in sign.sentence
    monkeypatch.setattr(hearing, "CLIPS", tmp_path / "absent")
    assert hearing.formats().standing == "wrong"


def test_the_tone_is_asked_for_and_not_only_an_open_file(tmp_path, monkeypatch):
    (tmp_path / "tone.wav").write_bytes(wav(3, 0.7))
    monkeypatch.setattr(hearing, "CLIPS", tmp_path)
    assert "its sound is not what it should be" in hearing.formats().sentence


def test_an_altered_model_is_noticed(tmp_path, monkeypatch):
    shutil.copytree(shipped("models") / "ear", tmp_path / "ear")
    with (tmp_path / "ear" / "arrays.npz").open("ab") as file:
        file.write(b"x")
    monkeypatch.setattr(hearing, "shipped", lambda _: tmp_path)
    sign = hearing.model(tmp_path)
    assert sign.standing == "wrong" and "not those that its manifest names" in sign.sentence


def test_a_pointer_to_a_model_that_is_gone(tmp_path):
    (tmp_path / "current-model").write_text("abc\n")
    assert "shop's own model is not there" in hearing.model(tmp_path).sentence


def test_a_library_of_another_version(place, kept):
    for step, says in (("9999", "newer version"), ("0001", "older version")):
        with closing(sqlite3.connect(place.home / "library.db")) as db, db:
            db.execute("update alembic_version set version_num = ?", (step,))
        sign = shop.library(place).signs[0]
        assert says in sign.sentence and sign.standing == ("wrong" if step == "9999" else "note")


def test_a_damaged_database_is_one_sentence(place, kept):
    (place.home / "library.db").write_bytes(b"not a database" * 1000)
    sign = shop.library(place).signs[0]
    assert sign.standing == "wrong" and "\n" not in sign.sentence


def test_recordings_that_are_gone_or_altered(place, kept):
    vault = place.home / "vault"
    victim = next(p for p in vault.rglob(f"*{kept.sha256[4:]}*") if p.is_file())
    victim.chmod(0o600)
    victim.write_bytes(b"altered")
    sign = standing(shop.library(place).signs, "vault")
    assert sign[0] == "wrong" and "1 of 1 recordings" in sign[1]
    victim.unlink()
    assert standing(shop.library(place).signs, "vault")[0] == "wrong"
    for path in sorted(vault.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    vault.rmdir()
    assert "bring its disk back" in standing(shop.library(place).signs, "vault")[1]


@pytest.mark.skipif(os.geteuid() == 0, reason="the super-user may write all")
def test_a_vault_that_is_read_only(place, kept):
    (place.home / "vault").chmod(0o500)
    assert "Nothing can be kept in the vault" in standing(shop.library(place).signs, "vault")[1]


def test_a_server_that_is_away(tmp_path):
    place = find_place("postgresql://nobody@127.0.0.1:9/none", str(tmp_path))
    sign = shop.library(place).signs[0]
    assert sign.standing == "wrong" and "nobody@127.0.0.1:9/none" in sign.sentence


def test_certificates(place, kept):
    folder = place.home / "lan"
    assert shop.certificate(place).standing == "fine"
    later = datetime.now(UTC) + timedelta(days=380)
    assert shop.certificate(place, later).standing == "note"
    assert "has run out" in shop.certificate(place, later + timedelta(days=30)).sentence
    (folder / "page.key").chmod(0o644)
    assert "read by others" in shop.certificate(place).sentence
    (folder / "page.key").chmod(0o600)
    key = (folder / "page.key").read_bytes()
    (folder / "page.key").write_bytes((folder / "authority.key").read_bytes())
    assert "not a pair" in shop.certificate(place).sentence
    (folder / "page.key").write_bytes(key)
    (folder / "page.pem").write_text("nonsense")
    assert shop.certificate(place).standing == "wrong"
    (folder / "page.pem").unlink()
    assert "A part of the shop's certificate is gone" in shop.certificate(place).sentence


def test_a_full_disk(place, monkeypatch):
    for free, want in ((100, "wrong"), (2_000_000_000, "note"), (90_000_000_000, "fine")):
        monkeypatch.setattr(computer.shutil, "disk_usage", lambda _, free=free: type("U", (), {"free": free}))
        assert computer.disk(place).standing == want


def test_a_clock_that_went_back(place):
    later = (datetime.now(UTC) + timedelta(days=3)).isoformat()
    assert "before the latest clip" in computer.clock(place, later).sentence
    assert computer.clock(place, datetime.now(UTC).isoformat()).standing == "fine"


def test_packages_that_are_missing_or_of_another_version(monkeypatch):
    monkeypatch.setattr(
        computer.metadata, "requires", lambda _: ["numpy<1", "none-such>=1", "other; extra == 'dev'"]
    )
    sign = computer.install()
    assert sign.standing == "wrong" and "missing: none-such" in sign.sentence and "numpy" in sign.sentence
    assert "other" not in sign.sentence


def run(*words):
    return subprocess.run(
        [sys.executable, "-m", "listen", "doctor", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_the_verb(place, kept):
    done = run("--at", place.home, "--json")
    told = json.loads(done.stdout)
    assert done.returncode == (0 if told["fine"] else 1) and done.stderr == ""
    assert len(told["parts"]) == 9 and {p["standing"] for p in told["parts"]} <= {"fine", "note", "wrong"}
    (place.home / "library.db").write_bytes(b"x" * 9000)
    done = run("--at", place.home)
    assert done.returncode == 1 and "WRONG library" in done.stdout and "Traceback" not in done.stderr
    assert run("--at", "mysql://x/y").returncode == 2
