"""`listen protocol`: 80 columns, every sentence of the data, the questions before the steps; a page to print."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner

from listen.bench.protocol import load_protocol
from listen.cli import main

PROTOCOL = load_protocol()


def run(*arguments):
    return CliRunner().invoke(main, ["protocol", *arguments])


def squeezed(text):
    return " ".join(text.split())


def spoken():
    """Yield every sentence that must be read, whichever the face."""
    yield from (PROTOCOL.purpose, *PROTOCOL.before, *PROTOCOL.always_stop_if, PROTOCOL.leave_it)
    yield from PROTOCOL.stop_first
    for question in PROTOCOL.gate:
        yield from (question.text, *question.do)
    for step in PROTOCOL.steps:
        yield from (*step.do, step.learns, *step.stop_if, *step.cautions)
        if step.skip_if:
            yield step.skip_if


def test_terminal_says_everything_in_80_columns():
    result = run()
    assert result.exit_code == 0
    assert max(len(line) for line in result.output.splitlines()) <= 80
    said = squeezed(result.output)
    for sentence in spoken():
        assert squeezed(sentence) in said, sentence


def test_questions_and_ends_stand_before_the_first_step():
    said = squeezed(run().output)
    first = said.index("[off]")
    for question in PROTOCOL.gate:
        assert said.index(squeezed(question.text)) < first
    for sign in PROTOCOL.always_stop_if:
        assert said.index(squeezed(sign)) < first
    assert "Any yes, or an answer that nobody knows: do not record this machine." in said


def test_each_step_names_length_and_distance():
    said = squeezed(run().output)
    for step, length in zip(
        PROTOCOL.steps[:4], ("20 seconds", "40 seconds", "1 minute", "3 minutes"), strict=True
    ):
        assert f"record {length}; phone at {step.distance_cm} cm" in said


def test_terminal_has_no_control_characters():
    assert not re.search(r"[^\S\n ]|\x1b", run().output.replace("\n", " "))


class Reader(HTMLParser):
    """Collects tags, attributes and text of a page."""

    def __init__(self):
        super().__init__()
        self.tags, self.links, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("src", "href", "action")]

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture
def page(tmp_path):
    target = tmp_path / "hour.html"
    result = run("--html", str(target))
    assert result.exit_code == 0 and str(target) in result.output
    return target.read_text(encoding="utf-8")


def test_page_is_whole_and_asks_nobody(page):
    reader = Reader()
    reader.feed(page)
    assert not {"script", "img", "link", "iframe", "form"} & set(reader.tags)
    assert reader.links == [] and "url(" not in page and "@import" not in page
    assert "@media print" in page and "default-src 'none'" in page
    assert reader.tags.count("article") == len(PROTOCOL.steps)
    said = squeezed(" ".join(reader.words))
    for sentence in spoken():
        assert squeezed(sentence) in said, sentence
    assert said.index(PROTOCOL.gate[-1].text) < said.index(PROTOCOL.steps[0].title)


def test_page_escapes_text_that_looks_like_markup(tmp_path, monkeypatch):
    from dataclasses import replace

    from listen.report.protocol import render_html

    nasty = replace(PROTOCOL, title="<script>alert(1)</script>", before=("<b>bold</b>",))
    page = render_html(nasty)
    assert "<script>" not in page and html.escape("<b>bold</b>") in page


def test_a_file_that_cannot_be_written_is_one_sentence(tmp_path):
    result = run("--html", str(tmp_path / "no" / "such" / "hour.html"))
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1 and "cannot be written" in result.stderr


def test_verb_is_listed_with_its_help():
    shown = CliRunner().invoke(main, ["--help"])
    assert "protocol" in shown.output
    helped = run("--help")
    assert helped.exit_code == 0 and "--html" in helped.output
    assert all(p.help for p in main.get_command(None, "protocol").params if p.param_type_name == "option")
