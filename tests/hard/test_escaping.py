"""Names, notes and metadata from strangers reach no page, table, query, path or terminal as anything but text."""

import ast
import csv
import dataclasses
import html.parser
import io
import json
import re

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from listen.bench.machine import load_machine
from listen.cli.library_options import seconds
from listen.ear.bundle import load_bundle
from listen.errors import LibraryError, ListenError
from listen.intake.links import Links
from listen.library import open_library
from listen.library.place import find_place
from listen.library.restore import restore
from listen.library.table_io import read_table, write_table
from listen.report import html as report_html
from listen.report.to_dict import to_line
from tests.house.tree import ROOT, listen_modules, modules
from tests.library.sounds import wav
from tests.support.reports import named, normal_brew

#: What people try, and then anything at all.
TRICKS = (
    "<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "{{ 7*7 }}", "'; DROP TABLE clips; --", "=1+1",
    " =cmd|'/c calc'!A1", "＝1+1", "@SUM(A1)", "-2+3", "../../etc/passwd", "$(id)", "`id`", "a\0b", "\x1b[2J", "\u202egnp.exe",
    "\ud800", "%00", "CON", "x" * 300,
)  # fmt: skip
any_text = st.one_of(st.sampled_from(TRICKS), st.text(max_size=60))
quiet = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
#: The words that the trick texts would bring as elements or attributes.
NEVER = {"script", "img", "iframe", "object", "embed", "link", "form", "base"}


class Elements(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen = []

    def handle_starttag(self, tag, attributes):
        self.seen.append((tag, {name for name, _ in attributes}))


def elements(page):
    parser = Elements()
    parser.feed(page)
    return parser.seen


@quiet
@given(any_text, any_text)
def test_no_text_becomes_markup_of_a_report(name, words):
    report = named(normal_brew(), name)
    report = dataclasses.replace(report, because=words, retake=words)
    plain = elements(report_html.render(named(normal_brew(), "a.m4a")))
    found = elements(report_html.render(report))
    assert not {tag for tag, _ in found} - {tag for tag, _ in plain} - {"p", "b"}
    assert not NEVER & {tag for tag, _ in found}
    assert not [a for _, attributes in found for a in attributes if a.startswith("on")]
    assert all(ord(c) >= 32 for c in to_line(report))


def test_every_template_engine_escapes_by_itself():
    """Jinja2's own default is not to escape."""
    made = []
    for module in (
        (*listen_modules().values(), *modules(ROOT / "app").values()) if (ROOT / "app").is_dir() else ()
    ):
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Environment":
                made.append(module.name)
                given_ = {k.arg: getattr(k.value, "value", None) for k in node.keywords}
                assert given_.get("autoescape") is True, module.name
    assert len(made) >= 3 or not (ROOT / "app").is_dir()


def test_no_query_is_put_together_from_text():
    """Statements are built by the database library, or are literals with named parameters; the rest stands here."""
    known = {
        ("listen.library.engine", "SET LOCAL lock_timeout"),
        ("listen.library.engine", "PRAGMA "),
        ("listen.library.migrations.versions.step_0002_intake_and_models", "UPDATE "),
    }
    for module in listen_modules().values():
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.Call) or not node.args or not isinstance(node.args[0], ast.JoinedStr):
                continue
            if getattr(node.func, "attr", getattr(node.func, "id", "")) in (
                "text",
                "execute",
                "exec_driver_sql",
            ):
                start = getattr(node.args[0].values[0], "value", "")
                assert any(module.name == where and start.startswith(sign) for where, sign in known), (
                    f"{module.name}:{node.lineno} {start!r}"
                )


@quiet
@given(st.lists(st.fixed_dictionaries({"file": any_text, "said": any_text}), max_size=5))
@example([{"file": "'=1", "said": "''x"}, {"file": "a;b", "said": "a,b\nc\r\nd\x85e\u2028f"}])
def test_tables_come_back_as_written_and_no_cell_runs(tmp_path, rows):
    rows = [{k: v.encode("utf-8", "replace").decode() for k, v in row.items()} for row in rows]
    path = tmp_path / "t.csv"
    write_table(path, ("file", "said"), rows)
    for line in csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")):
        for cell in line:
            assert not cell.lstrip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠")), cell
    try:
        back = read_table(path, needed=("file",), known=("file", "said"))
    except LibraryError as error:
        assert "\n" not in str(error)
        return
    # Line ends within a cell are kept by the file, and spaces around a cell are not part of it.
    flat = [{k: v.strip() for k, v in row.items()} for row in rows]
    kept = [row for row in flat if any(row.values())]
    same = [{k: re.sub(r"\r\n?", "\n", v) for k, v in row.items()} for row in kept]
    assert [{k: re.sub(r"\r\n?", "\n", r[k]).strip() for k in ("file", "said")} for r in back] == same


@quiet
@given(st.binary(max_size=400))
@example(b"file\n" + b"x" * 200_000 + b"\n")
@example(b'file\n"never closed\n')
def test_any_bytes_as_a_table_are_read_or_refused(tmp_path, data):
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    try:
        read_table(path, needed=("file",), known=("file",))
    except LibraryError as error:
        assert len(str(error).splitlines()) == 1


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    with open_library(tmp_path_factory.mktemp("shop") / "library") as library:
        library.machines.add("Bar left", id="bar-left", by="ada")
        library.add_clip(wav(1, 0.7), by="ada", machine="bar-left")
        yield library


@quiet
@given(any_text)
def test_any_words_are_kept_or_refused_and_harm_no_table(shop, words):
    before = len(shop.machines.all())
    for act in (
        lambda: shop.clips(search=words),
        lambda: shop.clip(words),
        lambda: shop.machines.get(words),
        lambda: shop.change_clip(shop.clips()[0].sha256, said=words, ticket=words),
        lambda: shop.labels.add(shop.clips()[0].sha256, words, 0.1, 0.2, by="ada"),
        lambda: shop.intake.get(words),
        lambda: shop.clips(machine=words),
    ):
        try:
            act()
        except ListenError as error:
            assert len(str(error).splitlines()) == 1
    assert len(shop.machines.all()) == before and len(shop.clips()) == 1


@quiet
@given(any_text)
def test_any_token_finds_no_link_and_leaves_the_folder(tmp_path, token):
    (tmp_path / "secret.json").write_text("{}")
    assert Links(tmp_path / "home").find(token) is None


@quiet
@given(any_text, any_text)
def test_any_profile_is_read_or_refused(tmp_path, name, value):
    path = tmp_path / "m.toml"
    body = f"name = {json.dumps(name)}\npump = {json.dumps(value)}\n"
    path.write_text(body, encoding="utf-8", errors="replace")
    for source in (path, name):
        try:
            load_machine(source)
        except ListenError as error:
            assert len(str(error).splitlines()) == 1


@quiet
@given(st.binary(max_size=300))
def test_any_bytes_as_a_backup_or_a_model_are_refused(tmp_path, data):
    (tmp_path / "b.tar").write_bytes(data)
    with pytest.raises(ListenError):
        restore(tmp_path / "b.tar", find_place(tmp_path / "to"))
    (tmp_path / "manifest.json").write_bytes(data)
    (tmp_path / "arrays.npz").write_bytes(data)
    with pytest.raises(ListenError):
        load_bundle(tmp_path)


@quiet
@given(any_text)
def test_any_moment_is_read_or_refused(text):
    try:
        seconds(text)
    except ListenError as error:
        assert len(str(error).splitlines()) == 1
