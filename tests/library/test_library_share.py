"""Folders in and out: a table of recordings, and the open folder between shops."""

import csv
import hashlib
import json
import subprocess

import numpy as np
import pytest
import soundfile

import listen
from listen.errors import LibraryError
from listen.library import open_library
from listen.library.exchange import export
from listen.library.exchange_in import take_in
from listen.library.folder import import_folder
from listen.report.to_dict import to_dict
from tests.library.sounds import wav


def test_a_folder_with_a_table_comes_in(library, tmp_path):
    library.machines.add("bar", by="Kim")
    for n in range(3):
        (tmp_path / f"c{n}.wav").write_bytes(wav(n, 0.8))
    (tmp_path / "bad.m4a").write_bytes(b"nothing")
    (tmp_path / "clips.csv").write_text(
        "\ufefffile;machine;story;gauges;consent;good;complete;said\n"
        "c0.wav;bar;0:00.1 brew_on; ;learn;yes;x;it hisses\n"
        'c1.wav;;"0:00.1 brew_on; 0:00.5 brew_off";boiler=1.1;;;;\n'
        "bad.m4a;;;;;;;\nc2.wav;;;;;;;\n\n",
        encoding="utf-8",
    )
    (tmp_path / "labels.csv").write_text(
        "file,sound,onset_s,offset_s,author\nc0.wav,hiss,0.1,0.5,Lou\nc0.wav,fan,0.1,5,Lou\n"
    )
    done = import_folder(library, tmp_path, by="Kim")
    assert len(done.added) == 3 and done.n_labels == 1 and len(done.refused) == 2
    assert done.refused[0].startswith("c0.wav was added, but not its label 'fan'") and done.refused[
        1
    ].startswith("bad.m4a")
    first, second = library.clip(done.added[0]), library.clip(done.added[1])
    # A label that could not be kept: then the labels are not complete, whatever the table says.
    assert first.good_at and not first.complete_at and first.machine == "bar" and first.consent == "learn"
    assert [(m.at_s, m.word) for m in second.story] == [
        (0.1, "brew_on"),
        (0.5, "brew_off"),
    ] and second.gauges == {"boiler": 1.1}
    assert library.labels.of(first.sha256)[0].author == "Lou" and first.came_from == "folder"
    again = import_folder(library, tmp_path, by="Kim")
    assert again.added == () and len(again.known) == 3 and again.n_labels == 0


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("name\nx\n", "no column 'file'"),
        ("file,colour\nx,y\n", "column 'colour' is not known"),
        ("file\n../x.wav\n", "line 2: there is no file"),
        ("file,story\na.wav,soon brew_on\n", "line 2"),
        ("file,machine\na.wav,nobody\n", "no machine 'nobody'"),
        ("file,good\na.wav,perhaps\n", "neither yes nor no"),
        ("file,good\na.wav\n", "1 cells where the heading has 2"),
        ("", "is empty"),
    ],
)
def test_a_wrong_table_is_refused_before_a_clip_is_added(small, tmp_path, table, words):
    (tmp_path / "a.wav").write_bytes(wav(1, 0.6))
    (tmp_path / "clips.csv").write_text(table)
    with pytest.raises(LibraryError, match=words):
        import_folder(small, tmp_path, by="Kim")
    assert small.clips() == ()


def with_speech(data):
    """A report on a clip that says that speech was heard from 0.3 to 0.6 s."""
    report = to_dict(listen.hear(data))
    speech = {
        "id": "e1",
        "sound": "speech",
        "onset_s": 0.6,
        "offset_s": 0.8,
        "probability": 0.3,
        "measures": {},
    }
    return {**report, "events": [speech]}


def sender(library):
    machine = library.machines.add(
        "Café Secret", profile="generic-vibratory", place="Hidden Street 5", by="Kim"
    ).id
    data = wav(1, 1.5)
    told = {
        "said": "Ann called",
        "ticket": "J-99",
        "recorded_at": "2026-03-14 10:00",
        "name": "ann-at-home.wav",
    }
    shared = library.add_clip(
        data, machine=machine, by="Kim", consent="share", story=[(0.2, "brew_on")], **told
    ).sha256
    library.add_opinion(shared, with_speech(data))
    library.labels.add(shared, "hiss", 0.1, 0.2, by="Kim Secretname")
    library.labels.add(shared, "speech", 0.6, 0.8, by="Kim Secretname")
    library.outcomes.add(clip=shared, part="=valve", cause="scale", evidence="Ann's photo", by="Kim")
    kept = library.add_clip(wav(2, 0.8), machine=machine, by="Kim", consent="learn").sha256
    return shared, kept


def test_an_export_honours_consent_and_hides_people_and_places(small, tmp_path):
    shared, kept = sender(small)
    done = export(small, tmp_path / "out")
    assert (done.n_clips, done.n_labels, done.n_outcomes, done.n_without_consent) == (1, 1, 1, 1)
    texts = [p for p in (tmp_path / "out").rglob("*") if p.suffix in (".csv", ".json", ".sha256")]
    everything = "\n".join(p.read_text(encoding="utf-8") for p in texts) + "\n".join(
        p.name for p in (tmp_path / "out").rglob("*")
    )
    for secret in ("Secret", "secret", "Hidden", "Ann", "ann-at", "J-99", "2026-03-14", "Secretname", kept):
        assert secret not in everything, secret
    assert shared in everything and "2026-03" in everything and "'=valve" in everything
    # The usual tool agrees with the checksums.
    checked = subprocess.run(
        ["sha256sum", "-c", "--strict", "checksums.sha256"],
        cwd=tmp_path / "out",
        capture_output=True,
        check=False,
    )
    assert checked.returncode == 0
    (row,) = csv.DictReader((tmp_path / "out" / "clips.csv").read_text(encoding="utf-8").splitlines())
    sound, rate_hz = soundfile.read(tmp_path / "out" / "audio" / row["file"], dtype="int16")
    original, _ = soundfile.read(small.playable(shared), dtype="int16")
    a, b = round(0.3 * rate_hz), round(1.1 * rate_hz)
    assert row["silenced"] == "0.3-1.1" and not sound[a:b].any()
    assert np.array_equal(sound[:a], original[:a]) and np.array_equal(sound[b:], original[b:])
    with pytest.raises(LibraryError, match="did not agree"):
        export(small, tmp_path / "more", clips=[kept])
    with pytest.raises(LibraryError, match="not empty"):
        export(small, tmp_path / "out")


def test_another_shop_takes_it_in_and_honours_deletions(small, tmp_path):
    shared, _ = sender(small)
    export(small, tmp_path / "out")
    with open_library(tmp_path / "theirs") as theirs:
        done = take_in(theirs, tmp_path / "out", source="North shop", by="Lou")
        (clip,) = theirs.clips()
        assert done.added == (clip.sha256,) and done.refused == () and clip.origin_sha256 == shared
        assert (clip.consent, clip.came_from, clip.recorded_at) == ("share", "exchange", "2026-03-01")
        assert [(x.sound, x.author) for x in theirs.labels.of(clip.sha256)] == [("hiss", "North shop 1")]
        assert theirs.outcomes.of(clip=clip.sha256)[0].part == "=valve"
        assert theirs.machines.profile(clip.machine).pump == "vibratory"
        assert take_in(theirs, tmp_path / "out", source="North shop", by="Lou").known == (clip.sha256,)
        assert theirs.verify().fine
        small.delete(shared, by="Kim", why="asked")
        small.change_clip(small.clips()[0].sha256, consent="share", consent_by="Owner")
        small.add_opinion(small.clips()[0].sha256, to_dict(listen.hear(wav(2, 0.8))))
        export(small, tmp_path / "later")
        done = take_in(theirs, tmp_path / "later", source="North shop", by="Lou")
        assert done.deleted == (clip.sha256,) and clip.sha256 not in [c.sha256 for c in theirs.clips()]
        refused = take_in(theirs, tmp_path / "out", source="North shop", by="Lou").refused
        assert len(refused) == 1 and "deleted on request" in refused[0] and theirs.verify().fine


@pytest.mark.parametrize("how", ["altered", "missing", "added", "link", "format"])
def test_an_altered_folder_is_refused(small, tmp_path, how):
    sender(small)
    out = tmp_path / "out"
    export(small, out)
    sound = next((out / "audio").iterdir())
    if how == "altered":
        (out / "clips.csv").write_text((out / "clips.csv").read_text() + "\n")
    elif how == "missing":
        sound.unlink()
    elif how == "added":
        (out / "more.txt").write_text("x")
    elif how == "link":
        data = sound.read_bytes()
        (tmp_path / "elsewhere").write_bytes(data)
        sound.unlink()
        sound.symlink_to(tmp_path / "elsewhere")
    else:
        about = json.loads((out / "about.json").read_text()) | {"format": "other/2"}
        (out / "about.json").write_text(json.dumps(about))
        lines = (out / "checksums.sha256").read_text().splitlines()
        new = hashlib.sha256((out / "about.json").read_bytes()).hexdigest()
        lines = [f"{new}  about.json" if line.endswith("about.json") else line for line in lines]
        (out / "checksums.sha256").write_text("\n".join(lines) + "\n")
    with open_library(tmp_path / "theirs") as theirs:
        with pytest.raises(LibraryError):
            take_in(theirs, out, source="x", by="Lou")
        assert theirs.clips() == () and theirs.machines.count() == 0
