"""Scenes told as a technician would tell them, each with a twin in which one fact is flipped.

They rest on common practice.
"""

from __future__ import annotations

from dataclasses import replace

from tests.bench_judgement.scenes import LEVER, ROTARY, TELEPHONE, VIBRATORY, click, codes, ev, fill, say


def test_1_lever_group_good_shot() -> None:
    shot = [
        click(2.0),
        ev("motor_run", 2.1, 27.0, slip=0.04),
        click(27.0),
        ev("burst", 27.1, 28.1),
        ev("drip", 28.5, 34.0, rate_hz=1.0),
    ]
    did = ("0:02 lever_up", "0:27 lever_down")
    good = say(*shot, did=did, machine=LEVER, said="good shot")
    assert (good.verdict, good.level) == ("normal", "fine")
    assert good.because.startswith("Nothing unusual heard in this clip")
    twin = say(*(e for e in shot if e.sound != "burst"), did=did, machine=LEVER, said="good shot")
    assert (twin.verdict, twin.level) == ("abnormal", "stop")


def test_2_spitting_hiss_for_90_seconds() -> None:
    hiss = [ev("hiss", 5.0, 95.0, fall_ms=80.0), ev("splutter", 20.0, 90.0, rate_hz=9.0), click(95.0)]
    cold = say(
        *hiss,
        did=("0:00 warm_up",),
        gauges={"boiler": 0.0},
        machine=LEVER,
        at=110.0,
        said="minute 12 from cold",
    )
    assert (cold.verdict, cold.level) == ("normal", "fine"), cold.because
    hot = say(
        *hiss,
        did=("0:00 idle_hot",),
        gauges={"boiler": 1.1},
        machine=LEVER,
        at=110.0,
        said="minute 45, it refills every 6 min",
    )
    assert (hot.verdict, hot.level, codes(hot)[0]) == ("abnormal", "service", "lasting_hiss")
    finding = hot.findings[0]
    assert finding.causes[0].text.startswith("the vacuum valve does not seal")
    assert any("every 6 min" in s for s in finding.speaks_for)
    assert any("wiring dry" in c.text for c in finding.checks)


def test_3_strains_stops_and_may_i_open_it() -> None:
    events = [click(3.0), ev("stroke_train", 3.1, 20.0), click(20.0)]
    did = ("0:03 brew_on", "0:20 brew_off")
    asked = say(*events, did=did, machine=VIBRATORY, said="It strains, then stops. Can I open it?")
    assert asked.level == "stop" and asked.say_first
    assert "handle locked" in asked.say_first and "Switch off at the plug" in asked.say_first
    assert asked.retake is None
    twin = say(*events, ev("burst", 20.1, 21.0), did=did, machine=VIBRATORY)
    assert (twin.verdict, twin.level) == ("normal", "fine"), twin.because


def test_4_telephone_call_pump_hums() -> None:
    call = say(
        ev("speech", 0.0, 12.0),
        ev("mains_hum", 3.0, 9.0),
        machine=ROTARY,
        quality=TELEPHONE,
        did=("0:03 brew_on",),
        at=12.0,
        said="pump hums, no pressure",
    )
    assert (call.verdict, call.level) == ("cannot_tell", "watch")
    assert call.retake and "instead of a call" in call.retake
    assert call.question and "brew gauge" in call.question and "5 seconds at the most" in call.question
    full = say(
        ev("speech", 0.0, 12.0),
        click(3.0),
        ev("mains_hum", 3.1, 11.0),
        machine=ROTARY,
        did=("0:03 brew_on",),
        at=12.0,
        said="pump hums, no pressure",
    )
    assert (full.verdict, codes(full)[0]) == ("abnormal", "stalled_motor")


def test_5_pump_runs_on_for_a_waiting_fill() -> None:
    events = [click(2.0), ev("motor_run", 2.1, 36.0), click(27.0), ev("burst", 27.1, 28.1), click(36.0)]
    did = ("0:02 lever_up", "0:27 lever_down")
    shared = say(*events, did=did, machine=LEVER, said="just after steaming")
    assert (shared.verdict, shared.level) == ("normal", "fine"), shared.because
    twin = say(*events, did=did, machine=replace(LEVER, shared_pump=False))
    assert codes(twin)[0] == "pump_runs_on"


def test_6_gravel_in_brew_and_fill() -> None:
    events = [
        click(3.0),
        ev("motor_run", 3.1, 20.0),
        ev("gravel", 4.0, 19.0),
        click(20.0),
        ev("burst", 20.1, 21.0),
        *fill(40.0, 47.0),
        ev("gravel", 41.0, 46.0),
    ]
    did = ("0:03 brew_on", "0:20 brew_off", "0:38 idle_hot")
    bad = say(*events, did=did, at=60.0, machine=ROTARY, said="the cartridge was changed yesterday")
    assert (bad.verdict, bad.level, codes(bad)[0]) == ("abnormal", "service", "starved_pump")
    first = bad.findings[0].checks[0]
    assert first.text.startswith("Pump off:") and "cartridge seated" in first.text and first.who == "customer"
    assert bad.findings[0].strength == "strong"
    twin = say(*(e for e in events if e.sound != "gravel"), did=did, at=60.0, machine=ROTARY)
    assert (twin.verdict, twin.level) == ("normal", "fine"), twin.because


def test_steaming_and_a_jet_that_outlives_the_closed_tap() -> None:
    did = ("0:02 steam_open", "0:15 steam_closed")
    jet = say(ev("blast", 2.1, 15.2), did=did, at=30.0)
    assert (jet.verdict, jet.level) == ("normal", "fine"), jet.because
    after = say(ev("blast", 2.1, 27.0), did=did, at=30.0)
    assert (after.verdict, after.level) == ("abnormal", "stop")


def test_silent_clip_and_a_gauge_in_the_red() -> None:
    red = say(at=6.0, machine=LEVER, gauges={"boiler": 1.7})
    assert (red.verdict, red.level, codes(red)[0]) == ("cannot_tell", "stop", "gauge_in_red")
    assert red.retake is None
    green = say(at=6.0, machine=LEVER, gauges={"boiler": 1.1})
    assert (green.verdict, green.level) == ("cannot_tell", "watch")


def test_boiling_that_cycles_and_boiling_that_does_not() -> None:
    cycle = say(
        click(3.0), ev("boil", 3.2, 20.0), click(20.2), did=("0:00 idle_hot",), gauges={"boiler": 1.1}
    )
    assert (cycle.verdict, cycle.level) == ("normal", "fine"), cycle.because
    on = say(
        ev("boil", 3.0, 90.0, open_end=True),
        at=90.0,
        did=("0:00 idle_hot",),
        gauges={"boiler": 1.1},
        machine=LEVER,
    )
    assert on.verdict == "cannot_tell" and on.level == "watch"
    high = say(
        ev("boil", 3.0, 90.0, open_end=True),
        at=90.0,
        did=("0:00 idle_hot",),
        gauges={"boiler": 1.5},
        machine=LEVER,
    )
    assert high.level == "stop"


def test_long_clip_of_a_quiet_night() -> None:
    events = [
        e for k in range(6) for e in (click(100.0 + 500 * k), ev("boil", 101.0 + 500 * k, 130.0 + 500 * k))
    ]
    quiet = say(*events, did=("0:00 idle_hot",), at=3600.0)
    assert (quiet.verdict, quiet.level) == ("normal", "fine"), quiet.because
    hissing = say(*events, ev("hiss", 2000.0, 2500.0), did=("0:00 idle_hot",), at=3600.0)
    assert codes(hissing)[0] == "lasting_hiss"
