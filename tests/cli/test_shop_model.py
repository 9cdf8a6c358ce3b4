"""A model that the shop put in use is the one that hears, wherever a clip comes in."""

import importlib
import shutil
import sys

import pytest
from click.testing import CliRunner

from listen.bench.machine import unknown_machine
from listen.library.pointer import shop_model, write_pointer
from listen.resources import shipped
from tests.support.encode import wav
from tests.support.signals import RATE_HZ, noise


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A library's home in which a model of the shop's own is in use."""
    folder = tmp_path / "models" / "m1"
    shutil.copytree(shipped("models") / "ear", folder)
    write_pointer(tmp_path, folder)
    monkeypatch.setenv("LISTEN_LIBRARY", str(tmp_path))
    assert shop_model() == str(folder)
    return folder


def clip(tmp_path):
    path = tmp_path / "clip.wav"
    path.write_bytes(wav(noise(2.0, 0.01, 1)[None, :], RATE_HZ))
    return path


def test_the_command_hears_with_it(shop, tmp_path):
    from listen.cli import main

    assert CliRunner().invoke(main, ["hear", str(clip(tmp_path))]).exit_code == 0
    # Damage it: it is read, so it is refused, and in a sentence.
    (shop / "arrays.npz").write_bytes(b"broken")
    importlib.import_module("listen.pipeline").model.cache_clear()
    done = CliRunner().invoke(main, ["hear", str(clip(tmp_path))])
    assert done.exit_code == 1 and "model cannot be used" in done.output + done.stderr
    assert "Traceback" not in done.output + done.stderr
    importlib.import_module("listen.pipeline").model.cache_clear()


def test_the_page_hears_with_it(shop, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(shipped("app")))
    hearing = sys.modules.get("bench_page_hearing") or importlib.import_module("bench_page_hearing")
    used = []

    class Hears:
        def hear(self, _data, task):
            used.append(task)
            return None, b""

    monkeypatch.setattr(hearing, "crew", Hears)
    data = clip(tmp_path).read_bytes()
    hearing.hear(hearing.Clip("clip.wav", "0" * 64, data), hearing.Told(unknown_machine()))
    assert str(used[0].model_folder) == str(shop)
