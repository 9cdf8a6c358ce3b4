"""Files of `--report DIR`: names, no overwriting of another clip, errors in words."""

import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.errors import BadParameter
from listen.report.save import file_stem, save
from tests.support import reports


def test_writes_html_and_json_and_replaces_its_own(tmp_path):
    first = save(reports.normal_brew(), tmp_path / "new" / "folder")
    assert [path.name for path in first] == ["normal brew.html", "normal brew.json"]
    assert save(reports.normal_brew(), tmp_path / "new" / "folder") == first
    assert json.loads(first[1].read_text(encoding="utf-8"))["verdict"] == "normal"
    assert len(list((tmp_path / "new" / "folder").iterdir())) == 2


def test_another_clip_of_the_same_name_gets_its_own_files(tmp_path):
    a = reports.named(reports.normal_brew(), "a/shot.m4a")
    b = reports.named(reports.lasting_hiss(), "b/shot.m4a")
    first, second = save(a, tmp_path), save(b, tmp_path)
    assert first[0].name == "shot.html"
    assert second[0].name == f"shot-{b.clip.sha256[:8]}.html"
    assert json.loads(first[1].read_text())["clip"]["sha256"] == a.clip.sha256
    assert save(b, tmp_path) == second


@pytest.mark.parametrize("left", ["shot.html", "shot.json"])
def test_a_file_of_someone_else_is_left_alone(tmp_path, left):
    (tmp_path / left).write_text("mine")
    html_file, _ = save(reports.named(reports.normal_brew(), "shot.wav"), tmp_path)
    assert (tmp_path / left).read_text() == "mine"
    assert html_file.name != "shot.html"


@pytest.mark.parametrize(
    "name, stem",
    [
        ("../../etc/passwd", "passwd"),
        ("c:\\clips\\a.wav", "a"),
        ("..", "clip"),
        ("", "clip"),
        ("NUL", "clip-NUL"),
        ("com1.wav", "clip-com1"),
        ("a\x00b\x1b[31m?.amr", "ab[31m"),
    ],
)
def test_names_are_made_harmless(name, stem):
    assert file_stem(name) == stem


@settings(deadline=None)
@given(st.text(max_size=400))
def test_any_name_is_one_file_name(name):
    stem = file_stem(name)
    assert stem and stem == Path(stem).name and not stem.startswith(".")
    assert len(os.fsencode(stem)) <= 130


def test_a_folder_that_cannot_be_is_said_plainly(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadParameter, match="cannot be written"):
        save(reports.normal_brew(), tmp_path / "file" / "below")
