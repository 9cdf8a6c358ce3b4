"""Imports run downward only, held over the syntax trees; the synthesiser stays independent."""

import ast
import graphlib
import sys

import pytest

from listen.resources import shipped
from tests.house.tree import PACKAGE, ROOT, Module, imports, listen_modules, module_of, modules

#: From the ground up; a part may import what lies lower, and itself.
LAYERS = (
    ("errors",),
    ("types", "vocabulary", "resources"),
    ("spectra", "decode"),
    ("features",),
    ("quality",),
    ("ear",),
    ("bench",),
    ("report",),
    ("library",),
    ("pipeline",),
    ("batch",),
    ("crew",),
    ("intake",),
    ("lan",),
    ("doctor",),
    ("cli",),
    ("__main__",),
)
RANK = {part: rank for rank, layer in enumerate(LAYERS) for part in layer}
#: Beside the layers: training may use the ear and what lies below it; only the command line may use training.
LEARN_MAY = {"errors", "types", "vocabulary", "resources", "spectra", "features", "ear", "learn"}
#: The bench judges events: it touches no audio.
BENCH_MAY = {"errors", "types", "vocabulary", "resources", "bench"}
#: Never on the path of `hear`, in no function either.
HEAVY = {
    "librosa",
    "sklearn",
    "scipy.signal",
    "pandas",
    "streamlit",
    "matplotlib",
    "numba",
    "joblib",
    "soundfile",
    "sqlalchemy",
    "alembic",
}


def part_of(name: str) -> str:
    return name.split(".")[1] if "." in name else ""


def listen_imports(module: Module):
    for item in imports(module):
        if item.name.split(".")[0] == "listen":
            target = module_of(item.name, listen_modules())
            assert target is not None, f"{module.path}:{item.line} imports {item.name}, which is not there"
            yield item, target


def test_every_part_has_its_place():
    parts = {part_of(name) for name in listen_modules()} - {""}
    assert parts - {"learn"} <= set(RANK), "a new part needs its place in LAYERS"
    assert len(listen_modules()) > 40


@pytest.mark.parametrize("name", sorted(listen_modules()))
def test_imports_run_downward(name):
    module, mine = listen_modules()[name], part_of(name)
    if mine == "":
        # The package itself names `hear` lazily and loads nothing.
        assert not [i.name for i, _ in listen_imports(module) if i.runs_at_import]
        return
    for item, target in listen_imports(module):
        theirs = part_of(target)
        where = f"{module.path.name}:{item.line}: {mine} may not import {theirs or 'listen'}"
        if theirs == "":
            # `from listen import __version__` and the like: only at the top.
            assert mine in ("cli", "pipeline", "report", "batch", "doctor"), where
        elif mine == theirs:
            continue
        elif mine == "learn":
            assert theirs in LEARN_MAY, where
        elif theirs == "learn":
            assert mine == "cli", where
        else:
            assert RANK[theirs] < RANK[mine], where
        if mine == "bench":
            assert theirs in BENCH_MAY, where


def test_no_circles():
    graph = {
        name: {target for item, target in listen_imports(module) if item.runs_at_import and target != name}
        for name, module in listen_modules().items()
    }
    order = tuple(graphlib.TopologicalSorter(graph).static_order())
    assert set(order) == set(graph)


def test_a_circle_would_be_seen():
    tree = ast.parse(
        "import listen.b\nfrom typing import TYPE_CHECKING\n"
        "if TYPE_CHECKING:\n    import listen.c\n"
        "def f():\n    import listen.d\n"
    )
    found = {i.name: i.runs_at_import for i in imports(Module("listen.a", ROOT / "a.py", tree, False))}
    assert found["listen.b"] and not found["listen.c"] and not found["listen.d"]
    with pytest.raises(graphlib.CycleError):
        tuple(graphlib.TopologicalSorter({"a": {"b"}, "b": {"a"}}).static_order())


@pytest.mark.parametrize(
    "name",
    sorted(n for n in listen_modules() if part_of(n) not in ("learn", "cli", "library", "batch", "doctor")),
)
def test_heavy_libraries_stay_off_the_path_of_hear(name):
    for item in imports(listen_modules()[name]):
        heavy = [h for h in HEAVY if item.name == h or item.name.startswith(f"{h}.")]
        assert not heavy, f"{name}:{item.line} imports {item.name}"


def test_media_library_is_loaded_by_the_decoder_alone():
    users = {
        name
        for name, module in listen_modules().items()
        for item in imports(module)
        if item.name.split(".")[0] == "av"
    }
    assert users and all(name.startswith("listen.decode.") for name in users)


def test_page_library_is_imported_nowhere_in_the_core():
    users = {
        name
        for name, module in listen_modules().items()
        for i in imports(module)
        if i.name.split(".")[0] == "streamlit"
    }
    assert users <= {name for name in listen_modules() if part_of(name) == "cli"}


def test_synthesiser_knows_nothing_of_the_ear():
    found = modules(PACKAGE.parent / "synthetic_audio")
    assert len(found) > 10 and "synthetic_audio" in found
    for module in found.values():
        for item in imports(module):
            assert item.name.split(".")[0] not in ("listen", "app", "tests"), (
                f"{module.name}:{item.line} imports {item.name}"
            )


def test_only_the_command_line_joins_ear_and_synthesiser():
    for name, module in listen_modules().items():
        for item in imports(module):
            if item.name.split(".")[0] == "synthetic_audio":
                assert part_of(name) == "cli", f"{name}:{item.line}"


def test_page_is_thin():
    """The page takes its numbers from `listen`; it trains nothing and synthesises nothing."""
    folder = shipped("app")
    files = sorted(folder.rglob("*.py"))
    assert files
    own = {path.stem for path in files} | {path.parent.name for path in files}
    # Of other libraries only what draws, and what makes the player's copy of a clip.
    allowed = (
        {"listen", "streamlit", "numpy", "PIL", "jinja2", "markupsafe", "soxr"}
        | own
        | set(sys.stdlib_module_names)
    )
    for path in files:
        module = Module(
            path.stem, path, ast.parse(path.read_text(encoding="utf-8")), path.name == "__init__.py"
        )
        for item in imports(module):
            assert item.name.split(".")[0] in allowed, f"{path.name}:{item.line} imports {item.name}"
            assert not item.name.startswith("listen.learn"), f"{path.name}:{item.line}"


def test_no_page_script_lies_in_the_package():
    """Its folder would join the search path, and `types.py` would shadow the standard library's."""
    for name, module in listen_modules().items():
        if module.path.parent.name == "listen":
            assert "streamlit" not in {item.name.split(".")[0] for item in imports(module)}, name
