"""A long recording counted hour by hour, and drawn."""

import dataclasses
import xml.etree.ElementTree as tree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.report import html
from listen.report.hours import FROM_S, hours_of, per_hour, section
from tests.support.reports import normal_brew


def told(duration_s, events=(), story=()):
    return {
        "clip": {"duration_s": duration_s},
        "events": [{"sound": sound, "onset_s": at} for sound, at in events],
        "story": [{"state": state, "start_s": at, "source": "drafted"} for state, at in story],
    }


def test_each_hour_counts_what_begins_in_it():
    report = told(
        2.5 * 3600,
        [
            ("motor_run", 10.0),
            ("motor_run", 3599.9),
            ("stroke_train", 3600.0),
            ("burst", 8999.0),
            ("hiss", 5.0),
        ],
        [("auto_fill", 7200.0), ("brew", 1.0)],
    )
    hours = hours_of(report)
    assert [(h.pump_runs, h.fills, h.releases) for h in hours] == [(2, 0, 0), (1, 0, 0), (0, 1, 1)]
    assert [h.length_s for h in hours] == [3600.0, 3600.0, 1800.0]
    assert per_hour(hours, "pump_runs") == pytest.approx(3 / 2.5)
    assert "pump runs 1.2 an hour" in section(report).lower() and "drafted from the sound" in section(report)


def test_a_short_recording_has_no_hours():
    assert hours_of(told(FROM_S - 1)) == () and section(told(60.0)) == ""


@given(
    st.floats(FROM_S, 36_000),
    st.lists(st.tuples(st.sampled_from(["motor_run", "burst", "click"]), st.floats(0, 1))),
)
def test_nothing_is_counted_twice_or_lost(duration_s, events):
    report = told(duration_s, [(sound, share * duration_s) for sound, share in events])
    hours = hours_of(report)
    assert sum(h.pump_runs for h in hours) == sum(sound == "motor_run" for sound, _ in events)
    assert sum(h.releases for h in hours) == sum(sound == "burst" for sound, _ in events)
    assert sum(h.length_s for h in hours) == pytest.approx(duration_s)
    # Well-formed, as any browser needs it.
    drawn = tree.fromstring(section(report))
    assert len(drawn.findall(".//rect")) == 3 * len(hours)


def test_the_chart_stands_in_the_report_of_a_long_recording_only():
    short = normal_brew()
    long = dataclasses.replace(short, clip=dataclasses.replace(short.clip, duration_s=7300.0))
    assert "Hour by hour" not in html.render(short)
    page = html.render(long)
    assert "Hour by hour" in page and page.count("<svg") == 1 and "&lt;svg" not in page
