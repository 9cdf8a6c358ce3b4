"""Series of measures: their band is the baseline's own interval, their order that of what lies off."""

import dataclasses

import numpy as np
import pytest

from listen.library.baseline import Baseline, compare, prediction
from listen.library.observed import Observed
from listen.library.trend import trends
from listen.types import StoryMark
from tests.library.sounds import wav
from tests.support import reports


@pytest.fixture
def clip(small):
    return small.add_clip(wav(seed=1), by="Kim")


def observed(clip, n, *, hz=25.0, length=10.0, level=12.0, cut=False):
    return Observed(
        dataclasses.replace(clip, sha256=f"{n:064d}", name=f"clip {n}"), 20.0, np.zeros(31), {"motor_run": hz},
        {"motor_run": length}, {}, frozenset({"motor_run"}), frozenset(), frozenset({"motor_run"}) if cut else frozenset(),
        {"motor_run": level},
    )  # fmt: skip


def series(seen, good):
    days = {one.clip.sha256: f"2026-01-{n + 1:02d}T10:00:00Z" for n, one in enumerate(seen)}
    return {one.what: one for one in trends("brew", seen, good, days)}


def test_a_value_is_off_exactly_where_the_comparison_finds_a_difference(clip):
    good = [observed(clip, n, hz=25.0 + 0.05 * n, length=10 + 0.2 * n) for n in range(4)]
    hashes = [one.clip.sha256 for one in good]
    for hz in np.linspace(23.5, 26.5, 31):
        now = observed(clip, 9, hz=float(hz))
        found = series([*good, now], hashes)["line"]
        told = [d for d in compare(Baseline("m", "brew", tuple(good)), now).differences if d.what == "line"]
        assert (found.beside(found.points[-1]) != "within") == bool(told)
        assert (found.off > 0) == bool(told)


def test_the_band_is_the_interval_for_one_more(clip):
    good = [observed(clip, n, length=10.0 + n) for n in range(3)]
    found = series(good, [one.clip.sha256 for one in good])["duration"]
    mean, margin = prediction([10.0, 11.0, 12.0], 0.12 * 11.0)
    assert found.band == pytest.approx((mean - margin, mean + margin)) and found.n_good == 3


def test_a_length_cut_off_makes_no_band_and_may_only_be_too_long(clip):
    good, cut = observed(clip, 1), observed(clip, 2, length=3.0, cut=True)
    long = observed(clip, 3, length=60.0, cut=True)
    found = series([good, cut, long], [good.clip.sha256, cut.clip.sha256])["duration"]
    assert found.n_good == 1
    assert [found.beside(point) for point in found.points] == ["within", "cut", "above"]


def test_without_known_good_clips_there_is_no_band(clip):
    found = series([observed(clip, 1), observed(clip, 2)], [])
    assert {one.band for one in found.values()} == {None} and found["level"].off == 0.0
    assert found["level"].beside(found["level"].points[0]) == "none"


def test_one_clip_is_no_trend(clip):
    assert series([observed(clip, 1)], []) == {}


def test_a_machines_trends_come_from_its_told_and_heard_clips(small):
    machine = small.machines.add("bar 1", by="Kim").id
    for n in range(3):
        report = reports.normal_brew()
        data = wav(seed=n + 1, duration_s=24.0)
        kept = small.add_clip(
            data, machine=machine, by="Kim", story=(StoryMark(0.0, "brew"),), recorded_at=f"2026-01-0{3 - n}"
        )
        if n < 2:
            small.add_opinion(
                kept.sha256,
                dataclasses.replace(report, clip=dataclasses.replace(report.clip, sha256=kept.sha256)),
            )
            small.mark_good(kept.sha256, by="Kim")
    found = small.trends(machine)
    assert found and {len(one.points) for one in found} == {2}, "the clip that was not heard is left out"
    assert [point.day for point in found[0].points] == ["2026-01-02", "2026-01-03"]
    whole = [one for one in found if not any(point.cut for point in one.points)]
    assert whole and all(one.band and one.n_good == 2 and one.off == 0.0 for one in whole)
