"""The sources: small files, documented, without stand-ins or dangerous calls; the package's names."""

import ast
import re
import statistics
import tomllib
from functools import cache

import pytest

from tests.house.tree import PACKAGE, ROOT, listen_modules, modules

LONGEST_LINES = 600
MEDIAN_LINES = 150
#: `hardly any` file may be longer than this.
LONG_LINES, LONG_SHARE = 400, 0.05

IN_CHECKOUT = (ROOT / "pyproject.toml").is_file() and (ROOT / "tests").is_dir()
needs_checkout = pytest.mark.skipif(
    not IN_CHECKOUT, reason="the sources beside the package are only in a checkout"
)


@cache
def sources():
    found = dict(listen_modules())
    found |= modules(PACKAGE.parent / "synthetic_audio")
    if IN_CHECKOUT:
        for folder in ("app", "tests"):
            found |= modules(ROOT / folder)
    return found


@cache
def product():
    return {name: m for name, m in sources().items() if not name.startswith("tests")}


def n_lines(module):
    return len(module.path.read_text(encoding="utf-8").splitlines())


def test_files_are_small():
    too_long = {name: n_lines(m) for name, m in sources().items() if n_lines(m) > LONGEST_LINES}
    assert not too_long
    sizes = [n_lines(m) for m in product().values()]
    assert statistics.median(sizes) <= MEDIAN_LINES
    assert sum(n > LONG_LINES for n in sizes) <= LONG_SHARE * len(sizes)


def public_parts(module):
    """Public functions and classes at the top of a module, with their names."""
    for node in module.tree.body:
        if isinstance(
            node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
        ) and not node.name.startswith("_"):
            yield node


@pytest.mark.parametrize(
    "name", sorted(n for n in listen_modules() if not n.rpartition(".")[2].startswith("_"))
)
def test_public_parts_have_docstrings(name):
    module = listen_modules()[name]
    assert ast.get_docstring(module.tree), f"{name} says not why it exists"
    missing = [
        node.name
        for node in public_parts(module)
        if isinstance(node, ast.FunctionDef) and not ast.get_docstring(node)
    ]
    assert not missing, f"{name}: {missing}"


def test_methods_that_take_arguments_are_mostly_documented():
    documented = total = 0
    for module in listen_modules().values():
        for node in public_parts(module):
            if not isinstance(node, ast.ClassDef):
                continue
            for part in node.body:
                if (
                    isinstance(part, ast.FunctionDef)
                    and not part.name.startswith("_")
                    and len(part.args.args) > 1
                ):
                    total += 1
                    documented += bool(ast.get_docstring(part))
    assert total > 20 and documented / total > 0.6


def test_nothing_is_left_for_later():
    words = re.compile(r"\b(TODO|FIXME|XXX|HACK|NotImplementedError)\b")
    for name, module in product().items():
        found = words.search(module.path.read_text(encoding="utf-8"))
        assert found is None, f"{name}: {found}"


def called(node):
    if isinstance(node.func, ast.Name):
        return node.func.id
    return (
        f"{getattr(node.func.value, 'id', '')}.{node.func.attr}"
        if isinstance(node.func, ast.Attribute)
        else ""
    )


@pytest.mark.parametrize("name", sorted(product()))
def test_no_dangerous_calls(name):
    for node in ast.walk(product()[name].tree):
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None, f"{name}:{node.lineno} catches everything"
        if isinstance(node, ast.Import | ast.ImportFrom):
            named = [a.name for a in node.names] + [getattr(node, "module", None) or ""]
            assert not {"pickle", "marshal", "shelve", "dill"} & {n.split(".")[0] for n in named}, (
                f"{name}:{node.lineno}"
            )
        if isinstance(node, ast.Call):
            assert called(node) not in ("eval", "exec", "os.system", "os.popen", "yaml.load"), (
                f"{name}:{node.lineno}"
            )
            for keyword in node.keywords:
                risky = keyword.arg in ("shell", "allow_pickle") and isinstance(keyword.value, ast.Constant)
                assert not (risky and keyword.value.value is True), (
                    f"{name}:{node.lineno}: {keyword.arg}=True"
                )


def is_for_the_type_checker(node):
    """`assert x is not None`: says to mypy what the line before made sure of, and checks no input."""
    test = node.test
    parts = test.values if isinstance(test, ast.BoolOp) and isinstance(test.op, ast.And) else [test]
    return all(
        isinstance(part, ast.Compare) and isinstance(part.ops[0], ast.IsNot)
        and isinstance(part.comparators[0], ast.Constant) and part.comparators[0].value is None
        for part in parts
    )  # fmt: skip


def test_input_is_never_checked_by_assert():
    for name, module in listen_modules().items():
        asserts = [n for n in ast.walk(module.tree) if isinstance(n, ast.Assert)]
        found = [n.lineno for n in asserts if not is_for_the_type_checker(n)]
        assert not found, f"{name}:{found} uses assert, which -O removes"


@needs_checkout
def test_wheel_holds_two_packages_and_hides_the_folders():
    config = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = config["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["packages"] == ["listen", "synthetic_audio"]
    # No top-level name `models` or `app` may end up in site-packages.
    assert wheel["force-include"] == {"models": "listen/_shipped/models", "app": "listen/_shipped/app"}
    assert config["project"]["scripts"] == {"listen": "listen.cli:main"}
    needed = [re.split(r"[<>=!~\[; ]", d)[0] for d in config["project"]["dependencies"]]
    assert {"numpy", "scipy", "av", "soxr", "click"} <= set(needed) and len(needed) == len(set(needed))


@needs_checkout
def test_no_place_of_this_machine_is_named():
    # Written so that this file does not hold what it looks for.
    places = re.compile("/" + r"(work|root|Users)/|" + "/" + r"tmp/\w|https?://(localhost:\d+/simple|pypi\.)")
    for name, module in product().items():
        found = places.search(module.path.read_text(encoding="utf-8"))
        assert found is None, f"{name}: {found}"
