"""What an installation must offer, as a wheel and as an editable install."""

import importlib.metadata
import os
import shutil
import subprocess
import sys
import sysconfig
import tomllib
from pathlib import Path

import pytest

import listen
from listen.errors import ListenError
from listen.resources import knowledge, shipped

PACKAGE = Path(listen.__file__).resolve().parent
SITE = Path(sysconfig.get_paths()["purelib"])
IS_WHEEL = PACKAGE.is_relative_to(SITE.resolve())
OURS = {"app", "models", "tests", "knowledge", "report"}


def away(tmp_path, *command):
    """Run a command from an empty folder, so that nothing beside it can be imported."""
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONSTARTUP")}
    return subprocess.run(
        command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120, check=False
    )


def script() -> Path:
    beside = Path(sys.executable).with_name("listen")
    found = beside if beside.is_file() else Path(shutil.which("listen") or "")
    if not found.is_file():
        pytest.skip("the project is not installed here: no `listen` script")
    return found


def test_console_script_runs(tmp_path):
    done = away(tmp_path, str(script()), "--help")
    assert done.returncode == 0 and done.stderr == ""
    for verb in ("hear", "demo", "page", "train", "synth"):
        assert verb in done.stdout


def test_console_script_and_module_say_the_same(tmp_path):
    by_script = away(tmp_path, str(script()), "hear", "--help")
    code = "import sys; sys.argv[0] = 'listen'; from listen.cli import main; main()"
    by_module = away(tmp_path, sys.executable, "-c", code, "hear", "--help")
    assert by_script.returncode == by_module.returncode == 0
    assert by_script.stdout == by_module.stdout


def test_distribution_names_its_script_and_version():
    try:
        distribution = importlib.metadata.distribution("listen-bench")
    except importlib.metadata.PackageNotFoundError:
        pytest.skip("the project is not installed here")
    assert distribution.version == listen.__version__
    scripts = [e for e in distribution.entry_points if e.group == "console_scripts"]
    assert [(e.name, e.value) for e in scripts] == [("listen", "listen.cli:main")]
    assert scripts[0].load() is __import__("listen.cli", fromlist=["main"]).main


@pytest.mark.parametrize("folder, file", [("models", "recipe.toml"), ("app", "page.py")])
def test_shipped_folders_are_there(folder, file):
    path = shipped(folder)
    assert path.is_dir() and (path / file).is_file()
    # In a wheel inside the package, in a checkout beside it: never a folder of its own in site-packages.
    assert path.parent == (PACKAGE / "_shipped" if IS_WHEEL else PACKAGE.parent)


def test_shipped_model_is_loaded():
    from listen.ear.bundle import load_bundle

    folder = shipped("models") / "ear"
    if not folder.is_dir():
        pytest.skip("no model has been trained yet: listen train")
    bundle = load_bundle(folder)
    assert bundle.info.trained_on and set(bundle.heads) == {"textures", "onsets", "starts"}
    assert "click" in bundle.heads["onsets"].labels and "hiss" in bundle.heads["textures"].labels


def test_knowledge_is_there_and_readable():
    files = sorted(knowledge().rglob("*.toml"))
    assert len(files) > 15
    for path in files:
        assert tomllib.loads(path.read_text(encoding="utf-8")), path.name


def test_missing_folder_is_said_in_a_sentence():
    with pytest.raises(ListenError, match=r"lacks its folder 'no-such-folder': install the project again\."):
        shipped("no-such-folder")


@pytest.mark.parametrize(
    "name",
    ["report/listen-report-1.schema.json", "report/templates/report.html.j2", "report/templates/report.css"],
)
def test_data_files_of_the_package_are_there(name):
    assert (PACKAGE / name).stat().st_size > 200


@pytest.mark.parametrize("name", sorted(OURS))
def test_no_stray_top_level_name(tmp_path, name):
    """From an empty folder, with no path of ours added, these names are not importable as ours."""
    # Packages of others may lay such a folder beside us (one of the test tools does): ours must not.
    laid = importlib.metadata.files("listen-bench") or []
    assert laid and name not in {Path(str(file)).parts[0].removesuffix(".py") for file in laid}
    others = importlib.metadata.packages_distributions().get(name, [])
    if not IS_WHEEL or others:
        # An editable install puts the whole checkout on the path; only a wheel can be asked.
        return
    code = "import importlib.util as u, sys; print(u.find_spec(sys.argv[1]))"
    done = away(tmp_path, sys.executable, "-c", code, name)
    assert done.returncode == 0 and done.stdout.strip() == "None"


def test_both_packages_are_importable_from_anywhere(tmp_path):
    script()
    code = "import listen, synthetic_audio; print(listen.__file__); print(synthetic_audio.__file__)"
    done = away(tmp_path, sys.executable, "-c", code)
    assert done.returncode == 0, done.stderr
    assert Path(done.stdout.splitlines()[0]).resolve().parent == PACKAGE
