"""Timings of a clip: measured against events by hand; a machine's own clips narrow, never widen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from listen.bench import judge, learn_timings, load_machine
from listen.errors import BadParameter
from listen.types import StoryMark
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    LEVER,
    MAINS,
    ROTARY,
    UNKNOWN,
    brew,
    click,
    codes,
    ev,
    fill,
    say,
)


def named(judgement) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    for timing in judgement.timings:
        out.setdefault(timing.name, []).append(timing.value)
    return out


def test_a_brew_is_timed() -> None:
    got = say(*brew(), did=BREW_DID)
    values = named(got)
    assert values["click_to_pump"] == [pytest.approx(0.1)]
    assert values["brew_run"] == [pytest.approx(24.9)]
    assert values["discharge"] == [pytest.approx(0.92)]
    assert "run_on" not in values
    assert all(t.within for t in got.timings)
    assert all(t.source == "common practice" and t.source in t.text for t in got.timings)


def test_fills_and_heating_are_timed() -> None:
    events = [*fill(10.0, 14.0), *fill(400.0, 403.0), ev("boil", 100.0, 130.0), ev("boil", 300.0, 340.0)]
    values = named(say(*events, did=("0:00 idle_hot",), at=500.0))
    assert values["fill_run"] == [pytest.approx(3.95), pytest.approx(2.95)]
    assert values["fills_apart"] == [pytest.approx(390.0)]
    assert values["heater_on"] == [30.0, 40.0] and values["heater_cycle"] == [200.0]


def test_a_vent_is_timed_and_one_that_is_cut_off_is_not() -> None:
    vent = say(click(2.0), ev("hiss", 5.0, 95.0), did=("0:00 warm_up",), gauges={"boiler": 0.0}, at=120.0)
    assert named(vent)["vent"] == [90.0]
    cut = say(ev("hiss", 5.0, 120.0, open_end=True), did=("0:00 warm_up",), at=120.0)
    assert "vent" not in named(cut)


def test_the_pump_that_runs_on_is_timed() -> None:
    events = [click(3.0), ev("motor_run", 3.1, 37.0), click(28.0), ev("burst", 28.1, 29.0), click(37.0)]
    got = say(*events, did=BREW_DID, machine=LEVER)
    timing = next(t for t in got.timings if t.name == "run_on")
    assert timing.value == pytest.approx(9.0) and not timing.within
    assert got.level == "fine"  # a timing outside what is usual is shown, it accuses nobody


def test_ranges_are_learned_from_good_clips_only_and_need_five() -> None:
    good = [say(*brew(end=26.0 + i), did=("0:03 brew_on", f"0:{26 + i} brew_off")) for i in range(5)]
    own = learn_timings(good)
    assert own["brew_run"][0] == pytest.approx(22.9 * 0.85, abs=0.01)
    assert own["brew_run"][1] == pytest.approx(26.9 * 1.15, abs=0.01)
    assert learn_timings(good[:4]) == {}
    bad = say(*brew(), ev("gravel", 5.0, 20.0), did=BREW_DID)
    assert learn_timings([*good[:4], bad]) == {}


def test_a_machines_own_range_narrows_and_never_widens() -> None:
    narrow = say(*brew(), did=BREW_DID, machine=replace(ROTARY, timings={"brew_run": (30.0, 34.0)}))
    assert "unlike_itself" in codes(narrow) and narrow.level == "watch"
    assert "this machine's good clips" in next(t.text for t in narrow.timings if t.name == "brew_run")
    wide = say(*brew(), did=BREW_DID, machine=replace(ROTARY, timings={"brew_run": (1.0, 500.0)}))
    assert next(t for t in wide.timings if t.name == "brew_run").usual == (20.0, 35.0)
    apart = say(*brew(), did=BREW_DID, machine=replace(ROTARY, timings={"brew_run": (100.0, 200.0)}))
    assert next(t for t in apart.timings if t.name == "brew_run").usual == (20.0, 35.0)


@pytest.mark.parametrize(
    ("events", "did"),
    [
        ([ev("hiss", 5.0, 35.0)], ("0:00 idle_hot",)),
        ([ev("blast", 5.0, 35.0)], ("0:00 idle_hot",)),
        ([click(3.0), ev("motor_run", 3.05, 90.0)], ("0:03 auto_fill",)),
        (brew()[:3], BREW_DID),
    ],
)
def test_no_range_of_a_machine_relaxes_a_must_not_or_a_stop(events, did) -> None:
    taught = {
        n: (0.0, 1e6)
        for n in ("vent", "discharge", "fill_run", "run_on", "brew_run", "fills_apart", "heater_on")
    }
    plain = say(*events, did=did, at=95.0)
    after = say(*events, did=did, at=95.0, machine=replace(ROTARY, timings=taught))
    assert after.level == plain.level and set(codes(plain)) <= set(codes(after))


def test_a_timing_that_is_not_known_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_text('name = "x"\n[timings]\nbrew_run = [22.0, 30.0]\n', encoding="utf-8")
    assert load_machine(path).timings == {"brew_run": (22.0, 30.0)}
    odd = replace(UNKNOWN, timings={"brew_time": (1.0, 2.0)})
    with pytest.raises(BadParameter, match="no timing 'brew_time'"):
        judge(
            events=(),
            quality=GOOD,
            mains=MAINS,
            duration_s=10.0,
            machine=odd,
            marks=[StoryMark(1.0, "brew_on")],
        )
