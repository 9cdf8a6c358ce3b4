"""Backups, restores and migrations: equal by hash, or refused; deletions outlive both."""

import base64
import hashlib
import io
import json
import sqlite3
import tarfile
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import MetaData, text

import listen
from listen.errors import LibraryError
from listen.learn.export import write_bundle
from listen.library import open_library
from listen.library import tables as t
from listen.library.engine import Database
from listen.library.measure import NAMES_SHA256, measure_clip, measures_row
from listen.library.place import find_place
from listen.library.restore import restore
from listen.library.schema import HEAD, upgrade
from listen.library.vault import open_vault, stage
from listen.library.verify import digest
from tests.library.sounds import wav
from tests.support.heads import bundle_of

FIRST = Path(__file__).with_name("first_schema.sql")


def filled(library, tmp_path):
    """A library with something in every table."""
    machine = library.machines.add("bar", profile="generic-vibratory", by="Kim").id
    data = wav(1, 0.8)
    clip = library.add_clip(
        data, machine=machine, by="Kim", said="hiss ü", report=listen.hear(data), consent="share"
    ).sha256
    after = library.add_clip(wav(2, 0.8), machine=machine, by="Kim", before_clip=clip).sha256
    label = library.labels.add(clip, "hiss", 0.1, 0.4, by="Kim")
    library.labels.correct(label.id, by="Lou", present=False)
    library.outcomes.add(clip=clip, part="valve", by="Kim")
    library.intake.add(machine=machine, said="wet", files=(("p.jpg", b"picture", "picture"),))
    gone = library.add_clip(wav(3, 0.8), by="Kim").sha256
    library.delete(gone, by="Kim", why="asked")
    bundle = bundle_of()
    folder = write_bundle(tmp_path / "model", bundle.heads, version="1", trained_on="nothing", facts={})
    library.models.promote(library.models.add(folder, by="Kim", clips=[clip]).id, by="Kim", why="test")
    return clip, after, gone


def test_a_restored_backup_is_equal_by_hash(library, tmp_path):
    clip, after, _ = filled(library, tmp_path)
    made = library.backup(tmp_path / "b.tar")
    assert made.n_clips == 2 and made.n_files == 7
    # SQLite and PostgreSQL alike go into a folder.
    back = restore(tmp_path / "b.tar", find_place(tmp_path / "restored"))
    assert back.digest == made.digest and back.deleted == ()
    with open_library(tmp_path / "restored") as restored:
        with restored.database.reading() as connection:
            assert digest(connection) == made.digest
        assert restored.verify().fine and restored.original(clip) == library.original(clip)
        assert (
            restored.clip(after).before_clip == clip and restored.models.current() == library.models.current()
        )
        # Numbers go on where they stopped, and the model in use is unpacked again.
        assert restored.labels.add(clip, "fan", 0.1, 0.2, by="Kim").id == 3
        assert restored.models.current_folder().is_dir()
    with pytest.raises(LibraryError, match="is there already"):
        library.backup(tmp_path / "b.tar")


def test_a_folder_restores_into_postgresql(small, tmp_path, fresh_database):
    clip, _, _ = filled(small, tmp_path)
    made = small.backup(tmp_path / "b.tar")
    place = find_place(fresh_database, str(tmp_path / "vault"))
    assert restore(tmp_path / "b.tar", place).digest == made.digest
    with open_library(fresh_database, vault=str(tmp_path / "vault")) as restored:
        assert restored.verify().fine and restored.labels.add(clip, "fan", 0.1, 0.2, by="Kim").id == 3
    with pytest.raises(LibraryError, match="not empty"):
        restore(tmp_path / "b.tar", place)


def test_what_was_deleted_after_the_backup_stays_deleted(small, tmp_path):
    clip, after, gone = filled(small, tmp_path)
    small.backup(tmp_path / "b.tar")
    small.delete(clip, by="Kim", why="asked")
    small.close()
    with pytest.raises(LibraryError, match="--replace"):
        restore(tmp_path / "b.tar", find_place(small.place.home))
    back = restore(tmp_path / "b.tar", find_place(small.place.home), replace=True)
    assert back.deleted == (clip,) and back.kept_aside.is_dir()
    with open_library(small.place.home) as restored:
        assert [c.sha256 for c in restored.clips()] == [after] and restored.vault.hash_of(clip) is None
        assert restored.verify().fine
        for sha256 in (clip, gone):
            with pytest.raises(LibraryError, match="deleted on request"):
                restored.clip(sha256)
    # The disk with the database was lost: the ledger alone is enough.
    back = restore(
        tmp_path / "b.tar", find_place(tmp_path / "new"), ledgers=(back.kept_aside / "deleted.csv",)
    )
    assert back.deleted == (clip,)


@pytest.mark.parametrize("how", ["cut", "altered", "renamed", "more", "other"])
def test_a_damaged_backup_is_refused_and_changes_nothing(small, tmp_path, how):
    filled(small, tmp_path)
    path = tmp_path / "b.tar"
    small.backup(path)
    data = bytearray(path.read_bytes())
    if how == "cut":
        path.write_bytes(data[: len(data) * 2 // 3])
    elif how == "altered":
        data[data.index(b"RIFF") + 60] ^= 1
        path.write_bytes(data)
    elif how == "renamed":
        path.write_bytes(data.replace(b"hiss \xc3\xbc", b"hiss \xc3\xa4"))
    elif how == "more":
        with tarfile.open(path, "a") as tar:
            info = tarfile.TarInfo("../outside")
            info.size = 1
            tar.addfile(info, io.BytesIO(b"x"))
    else:
        path.write_bytes(b"not a tar at all" * 100)
    with pytest.raises(LibraryError):
        restore(path, find_place(tmp_path / "restored"))
    assert not (tmp_path / "restored").exists() and not (tmp_path / "outside").exists()
    assert not list(tmp_path.glob("restored*"))


def test_verify_finds_damage_gaps_and_leftovers(small, tmp_path, monkeypatch):
    clip, after, gone = filled(small, tmp_path)
    assert small.verify().fine
    small.vault.local(clip).write_bytes(b"rotten")
    small.vault.local(after).unlink()
    stray = stage(small.vault.incoming, [b"stray"])
    small.vault.keep(stray)
    (small.vault.incoming / "left.part").write_bytes(b"half")
    found = small.verify()
    assert any(clip[:12] in p and "damaged" in p for p in found.problems)
    assert any(after[:12] in p and "lacks" in p for p in found.problems)
    assert len(found.problems) == 2 and found.leftovers == () and "young" in found.notes[0]
    monkeypatch.setattr("listen.library.verify.YOUNG_S", -1.0)
    found = small.verify()
    assert set(found.leftovers) == {stray.sha256, "incoming/left.part"}
    assert small.tidy(found) == 2 and small.verify().leftovers == ()
    with pytest.raises(LibraryError, match="verify"):
        small.backup(tmp_path / "no.tar")
    assert not (tmp_path / "no.tar").exists()
    # A buried clip whose file came back is no leftover: it is a broken promise.
    back = stage(small.vault.incoming, [wav(3, 0.8)])
    assert back.sha256 == gone
    small.vault.keep(back)
    assert any("deleted clip" in p for p in small.verify().problems)


def test_adding_a_damaged_clip_again_heals_it(small):
    data = wav(1, 0.6)
    clip = small.add_clip(data, by="Kim").sha256
    small.vault.local(clip).write_bytes(b"rotten")
    small.vault.keep(stage(small.vault.incoming, [data]))
    assert small.original(clip) == data and small.verify().fine


def test_a_vault_behind_a_url_does_the_same(tmp_path):
    """fsspec's own `file://` stands for an object store."""
    with open_library(tmp_path / "home", vault=f"file://{tmp_path}/store") as library:
        clip, after, _ = filled(library, tmp_path)
        assert library.verify().fine and library.playable(after).is_file()
        library.backup(tmp_path / "b.tar")
        library.delete(clip, by="Kim", why="asked")
        assert not list((tmp_path / "store").rglob(clip)) and library.verify().fine
    with pytest.raises(LibraryError, match="not installed"):
        open_library(tmp_path / "other", vault="nosuchstore://x")


def first_library(place):
    """A library as the first step made it, with rows and files."""
    database = Database(place)
    place.home.mkdir(parents=True, exist_ok=True)
    vault = open_vault(place.vault, place.home)
    data = wav(1, 0.8)
    sha256 = hashlib.sha256(data).hexdigest()
    with database.writing() as connection:
        upgrade(connection, "0001")
        shape = MetaData()
        shape.reflect(connection)
        at = "2026-01-02T03:04:05Z"
        for n in range(3):
            connection.execute(
                shape.tables["machines"].insert(),
                {
                    "id": f"m{n}",
                    "name": f"M{n}",
                    "profile": "{}",
                    "place": "",
                    "note": "",
                    "added_at": at,
                    "added_by": "Kim",
                },
            )
        original = stage(vault.incoming, [data])
        measured = measure_clip(original.path, name="a.wav", incoming=vault.incoming)
        row = {
            "sha256": sha256, "machine": "m1", "name": "a.wav", "size_bytes": len(data), "container": "wav", "codec": "pcm_s16le",
            "rate_hz": 16000, "channels": 1, "duration_s": 0.8, "band_low_hz": 0.0, "band_high_hz": 7000.0,
            "flac_sha256": measured.flac.sha256, "flac_bytes": measured.flac.size_bytes, "story": '[[0.1,"brew_on"]]',
            "gauges": "{}", "said": "old words", "answers": "{}", "capture": "{}", "added_at": at, "added_by": "Kim",
            "consent": "learn", "consent_by": "Kim", "ticket": "",
        }  # fmt: skip
        connection.execute(shape.tables["clips"].insert(), row)
        connection.execute(shape.tables["measures"].insert(), measures_row(sha256, measured, at))
        label = {
            "clip": sha256, "sound": "hiss", "onset_s": 0.1, "offset_s": 0.2, "present": True, "author": "Kim", "made_at": at,
        }  # fmt: skip
        connection.execute(shape.tables["labels"].insert(), label)
        vault.keep(original)
        vault.keep(measured.flac)
    database.close()
    return sha256


def test_the_first_step_never_changes(tmp_path):
    """Libraries made by it exist: its tables are pinned here, word for word."""
    place = find_place(tmp_path / "first")
    first_library(place)
    found = sqlite3.connect(tmp_path / "first" / "library.db")
    made = sorted(row[0] for row in found.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL"))
    found.close()
    assert ";\n".join(made) + ";\n" == FIRST.read_text(encoding="utf-8")


def test_a_library_of_the_first_step_comes_here_whole(where, tmp_path):
    place = find_place(where["where"], where.get("vault"))
    sha256 = first_library(place)
    with open_library(**where) as library:
        (clip,) = library.clips()
        assert (clip.sha256, clip.said, clip.came_from, clip.story[0].word) == (
            sha256,
            "old words",
            "shop",
            "brew_on",
        )
        assert [m.fold for m in library.machines.all()] == ["train", "test", "train"] and clip.fold == "test"
        assert library.labels.of(sha256)[0].note == "" and library.verify().fine
        assert library.intake.add(said="now").status == "new"
        # The tables are those that the program describes.
        with library.database.reading() as connection:
            context = MigrationContext.configure(connection)
            assert compare_metadata(context, t.metadata) == [] and context.get_current_revision() == HEAD
    if place.embedded:
        old = sqlite3.connect(next(place.home.glob("library.db.before-step-*")))
        assert old.execute("SELECT said FROM clips").fetchall() == [("old words",)]
        old.close()
        with open_library(**where) as library:
            library.delete(sha256, by="Kim", why="asked")
        assert not list(place.home.glob("library.db.before-step-*"))


def test_a_backup_of_the_first_step_restores(tmp_path):
    """A backup as the first step would have written it: rows of its tables, its step's number."""
    place = find_place(tmp_path / "first")
    first_library(place)
    database = Database(place)
    sums, files = {}, {}
    with database.reading() as connection:
        shape = MetaData()
        shape.reflect(connection)
        about = {"format": "listen-backup/1", "schema": "0001", "digest": "", "counts": {}}
        files["about.json"] = json.dumps(about).encode()
        for name, table in shape.tables.items():
            if name != "alembic_version":
                rows = [dict(r._mapping) for r in connection.execute(table.select())]
                packed = [{k: {"base64": base64.b64encode(v).decode()} if isinstance(v, bytes) else v for k, v in r.items()} for r in rows]  # fmt: skip
                files[f"rows/{name}.jsonl"] = "".join(json.dumps(r) + "\n" for r in packed).encode()
    database.close()
    for path in (tmp_path / "first" / "vault").glob("??/*"):
        files[f"vault/{path.name}"] = path.read_bytes()
    with tarfile.open(tmp_path / "b.tar", "w") as tar:
        sums = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
        for name, data in {**files, "checksums.json": json.dumps(sums).encode()}.items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            tar.addfile(info, io.BytesIO(data))
    assert restore(tmp_path / "b.tar", find_place(tmp_path / "restored")).n_clips == 1
    with open_library(tmp_path / "restored") as library:
        assert library.verify().fine and library.clips()[0].said == "old words"


def test_a_newer_or_foreign_library_is_left_alone(where):
    with open_library(**where) as library, library.database.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(LibraryError, match="newer version"):
        open_library(**where)
    database = Database(find_place(where["where"], where.get("vault")))
    with database.writing() as connection:
        connection.execute(text("DROP TABLE alembic_version"))
    database.close()
    with pytest.raises(LibraryError, match="tables of another program"):
        open_library(**where)


def test_measurements_of_an_older_ear_are_made_again(small):
    clip = small.add_clip(wav(1, 0.8), by="Kim").sha256
    with small.database.writing() as connection:
        connection.execute(t.measures.update().values(names_sha256="0" * 64))
    with pytest.raises(LibraryError, match="listen library measure"):
        small.similar(clip)
    assert small.measure_again() == (1, ())
    assert small.similar(clip) == () and small.measure_again() == (0, ()) and len(NAMES_SHA256) == 64
