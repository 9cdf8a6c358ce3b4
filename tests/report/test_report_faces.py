"""Terminal and HTML: order, width, words, and text from outside that must stay text."""

import dataclasses
import io
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.report import html, terminal, words
from listen.report.plain import plain_text
from listen.types import LEVELS
from listen.vocabulary import ACTIONS, SOUNDS, STATES
from tests.support import reports

EVERY = pytest.mark.parametrize("make", reports.ALL.values(), ids=reports.ALL.keys())
HOSTILE = st.text(max_size=60) | st.sampled_from(
    ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "\x1b]0;title\x07\x1b[2J", "a\nb\rc",
     "\u202egpj.exe",     "{{ 7*7 }}", "\ud800", "x" * 500]
)  # fmt: skip


class Tags(HTMLParser):
    """Collects tags, attributes and text as a browser would see them."""

    def __init__(self):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data):
        self.text += data


def hostile(report, text):
    """Put `text` into every place that can carry words from outside."""
    finding = dataclasses.replace(
        reports.lasting_hiss().findings[0], symptom=text, speaks_for=(text,), speaks_against=(text,)
    )
    return dataclasses.replace(
        report, clip=dataclasses.replace(report.clip, name=text, codec=text, container=text), because=text,
        question=text, say_first=text, findings=(finding,),
    )  # fmt: skip


@EVERY
def test_terminal_says_level_then_what_to_do_then_verdict(make):
    report = make()
    text = terminal.render(report)
    level = text.index(report.level.upper() + ":")
    verdict = text.index("Verdict:")
    assert level < verdict < text.index("Heard")
    if report.say_first:
        assert level < text.index("Do first:") < verdict
    assert words.VERDICT_WORDS[report.verdict] in text


@EVERY
def test_terminal_keeps_to_eighty_columns_and_says_the_cautions_once(make):
    text = terminal.render(make())
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.count("Never adjust, block or bypass") == 1
    assert "\x1b" not in text
    assert "Never adjust" not in terminal.render(make(), with_cautions=False)


@EVERY
def test_every_event_finding_and_check_is_in_both_faces(make):
    report = make()
    flat = re.sub(r"\s+", " ", terminal.render(report))
    page = Tags()
    page.feed(html.render(report))
    page_text = re.sub(r"\s+", " ", page.text)
    for text in (flat, page_text):
        for event in report.events:
            assert words.clock(event.onset_s) in text
            assert words.sound_words(event.sound) in text
        for finding in report.findings:
            for sentence in (finding.symptom, *finding.speaks_for, *finding.speaks_against):
                assert sentence in text
            for check in finding.checks:
                assert check.text in text
                assert check.if_yes in text and check.if_no in text
                assert all(caution in text for caution in check.cautions)
        for limit in report.quality.limits:
            assert limit.text in text
        assert report.because in text


def test_fine_reads_as_nothing_unusual_heard():
    assert "FINE: nothing unusual heard in this clip" in terminal.render(reports.normal_brew())
    assert "nothing unusual heard in this clip" in html.render(reports.normal_brew())


@EVERY
def test_nothing_ever_says_safe_on_its_own(make):
    for text in (terminal.render(make()), html.render(make())):
        assert not re.search(r"\bsafe\b", text)


def test_missing_and_drafted_are_said_in_words():
    text = terminal.render(reports.telephone_band())
    assert "[MISSING]" in text and "our draft, please check" in text
    assert "0:02.0 – 0:04.5: A grinder covers part of it." in text


def test_colour_only_where_wanted():
    assert "\x1b[" in terminal.render(reports.stop_by_gauge(), colour=True)

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    assert terminal.wants_colour(Terminal(), {})
    assert not terminal.wants_colour(Terminal(), {"NO_COLOR": "1"})
    assert not terminal.wants_colour(Terminal(), {"TERM": "dumb"})
    assert not terminal.wants_colour(io.StringIO(), {})


@settings(max_examples=60, deadline=None)
@given(HOSTILE)
def test_text_from_outside_cannot_steer_the_terminal(text):
    out = terminal.render(hostile(reports.normal_brew(), text))
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]", out)
    assert max(len(line) for line in out.splitlines()) <= 80
    out.encode("utf-8")


@settings(max_examples=60, deadline=None)
@given(HOSTILE)
def test_text_from_outside_cannot_become_markup(text):
    plain, dirty = Tags(), Tags()
    plain.feed(html.render(hostile(reports.normal_brew(), "words")))
    dirty.feed(html.render(hostile(reports.normal_brew(), text or "words")))
    if plain_text(text):
        assert dirty.tags == plain.tags
        assert dirty.attributes == plain.attributes
    html.render(hostile(reports.normal_brew(), text)).encode("utf-8")


@EVERY
def test_html_fetches_nothing_and_runs_nothing(make):
    page = html.render(make())
    assert "default-src 'none'" in page
    assert not re.search(r"<script|<link|src=|url\(|@import|https?://", page)


@pytest.mark.parametrize("slug", SOUNDS)
def test_each_sound_has_readable_words(slug):
    assert re.fullmatch(r"[a-z -]+", words.sound_words(slug))


@pytest.mark.parametrize("slug", STATES + ACTIONS)
def test_each_state_and_action_has_readable_words(slug):
    assert re.fullmatch(r"[a-z ,-]+", words.state_words(slug))


def test_levels_have_words():
    assert set(words.LEVEL_WORDS) == set(LEVELS)


@pytest.mark.parametrize(
    "at_s, written",
    [(0, "0:00.0"), (59.94, "0:59.9"), (59.96, "1:00.0"), (600.04, "10:00.0"), (-1, "0:00.0")],
)
def test_clock(at_s, written):
    assert words.clock(at_s) == written


def test_measures_carry_their_units():
    said = words.measure_words({"growth_db_per_min": 6.0, "level_db": 12.34, "rate_hz": 2.0})
    assert said == "level 12.3 dB, rate 2 a second, growth 6 dB a minute"
    assert words.measure_words({"missing_fraction": 0.25}) == "missing strokes 25 %"


@pytest.mark.parametrize("lasts_s, said", [(5.0, "level 3 dB"), (60.0, "level 3 dB, growth 6 dB a minute")])
def test_growth_is_said_only_of_what_lasts(lasts_s, said):
    measures = {"level_db": 3.0, "growth_db_per_min": 6.0}
    assert words.event_measures({"onset_s": 1.0, "offset_s": 1.0 + lasts_s, "measures": measures}) == said
