"""Wherever the borders of blocks fall, the ear hears the same events: a night is heard as one clip would be."""

from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from listen.ear.events import listen_for_events
from listen.features.collect import Collector
from listen.pipeline import model
from synthetic_audio import draw, render

#: A brew with clicks and a pump, clicks in quick succession, a jet: edges of every kind.
FAMILIES = ("normal_brew", "chatter", "blast")


@cache
def sound(family):
    scene = render(draw(4, family=family, split="train", duration_s=11.0))
    return np.ascontiguousarray(scene.samples, np.float32), scene.rate_hz


def events(samples, rate_hz, borders):
    collector = Collector(rate_hz)
    for block in np.split(samples, borders):
        collector.push(block)
    heard, mains = listen_for_events(collector.finish(), model())
    return heard, mains


@cache
def whole(family):
    return events(*sound(family), [])


@pytest.mark.parametrize("family", FAMILIES)
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_events_do_not_depend_on_where_blocks_end(family, data):
    samples, rate_hz = sound(family)
    whole_events, whole_mains = whole(family)
    assert whole_events
    # Also within a millisecond of an event's edge, where a border would hurt most.
    edges = [
        round((e.onset_s + shift) * rate_hz) for e in whole_events for shift in (-0.001, 0.0, 0.001, 0.02)
    ]
    places = st.one_of(
        st.integers(1, len(samples) - 1), st.sampled_from([e for e in edges if 0 < e < len(samples)])
    )
    borders = sorted(data.draw(st.sets(places, min_size=1, max_size=12)))
    heard, mains = events(samples, rate_hz, borders)
    assert [(e.sound, e.open_start, e.open_end) for e in heard] == [
        (e.sound, e.open_start, e.open_end) for e in whole_events
    ]
    for one, other in zip(heard, whole_events, strict=True):
        assert one.onset_s == pytest.approx(other.onset_s, abs=0.001)
        assert one.offset_s == pytest.approx(other.offset_s, abs=0.002)
        assert one.probability == pytest.approx(other.probability, abs=0.005)
    assert mains.hz == whole_mains.hz
