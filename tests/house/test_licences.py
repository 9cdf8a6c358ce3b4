"""Licences of what an installation brings: listed, and none that would bind whoever passes the program on."""

import importlib.util
import re
import tomllib

import pytest

from tests.house.tree import ROOT

SCRIPT = ROOT / ".ci" / "licences.py"
pytestmark = pytest.mark.skipif(not SCRIPT.is_file(), reason="only in a checkout")
#: Permissive, or weak copyleft of a library that pip installs beside the program.
ALLOWED = re.compile(
    r"MIT|BSD|Apache|ISC|PSF|0BSD|Zlib|CC0|MPL|Mozilla Public|LGPL|Python Software Foundation|HPND|Unlicense|LLVM|Historical",
    re.I,
)
REFUSED = re.compile(r"(?<!L)(?<!Lesser )\bA?GPL|Affero|non.?commercial|not stated|proprietary", re.I)


@pytest.fixture(scope="module")
def licences():
    spec = importlib.util.spec_from_file_location("licences", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_installed_package_has_a_licence_that_binds_nobody(licences):
    found = licences.collected()
    assert len(found) > 30
    odd = {
        name: licence
        for name, (licence, _) in found.items()
        if REFUSED.search(licence) or not ALLOWED.search(licence)
    }
    assert not odd


def test_what_the_program_needs_is_listed_with_its_licence(licences):
    """Other packages come and go with versions; what is named in pyproject.toml must be in the list as it is."""
    listed = dict(
        re.findall(r"^\| ([a-z0-9-]+) \| (.+?) \|", licences.LIST.read_text(encoding="utf-8"), re.M)
    )
    own = {licences.canonical(name) for name in licences.wanted(licences.own_requirements())}
    assert own <= set(listed)
    kinds = {name: REFUSED.search(listed[name]) for name in own}
    assert not [name for name, bad in kinds.items() if bad]


def test_versions_are_bounded_on_both_sides(licences):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    loose = [text for text in project["dependencies"] if not re.search(r">=\d.*,<\d", text)]
    assert not loose
    # librosa has two lines: 0.11 for older Pythons, 1.x for newer ones; both are allowed.
    assert "librosa>=0.11,<2" in project["dependencies"]


def test_the_changelog_begins_with_this_version():
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    text = (ROOT / ".ci" / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(r"^## (.+)$", text, re.M).group(1) == version
    assert f'__version__ = "{version}"' in (ROOT / "listen" / "__init__.py").read_text(encoding="utf-8")
