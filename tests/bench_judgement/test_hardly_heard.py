"""What is hardly heard accuses nobody: faint hums and beats, pumps in noise, strokes and catches taken for others."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.types import Limit
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    MANUAL,
    ROTARY,
    SHUT_DID,
    SHUT_S,
    TELEPHONE,
    VIBRATORY,
    brew,
    click,
    codes,
    ev,
    say,
)

NOISY = replace(GOOD, limits=(Limit("steady_noise", "Loud noise.", ("burst", "click")),))


def without_discharge(**measures: float) -> list:
    return [click(3.0), ev("motor_run", 3.1, 28.0, slip=0.04, **measures), click(28.0)]


@pytest.mark.parametrize(
    ("measures", "verdict", "level"),
    [
        ({"level_db": 12.0, "stands_db": 12.0, "after_db": 6.0}, "abnormal", "stop"),
        # Something that stands so far over the pump right after it is perhaps the discharge.
        ({"level_db": 12.0, "stands_db": 12.0, "after_db": 30.0}, "cannot_tell", "watch"),
        # Behind a pump that stands nowhere over the noise: something, or nothing.
        ({"level_db": 1.0, "stands_db": 2.0, "behind_db": 8.0}, "cannot_tell", "watch"),
        ({"level_db": 1.0, "stands_db": 2.0, "behind_db": 2.0}, "abnormal", "stop"),
    ],
)
def test_a_discharge_is_missing_only_where_nothing_like_one_is_heard(measures, verdict, level) -> None:
    said = say(*without_discharge(**measures), did=BREW_DID)
    assert (said.verdict, said.level) == (verdict, level)


@pytest.mark.parametrize(("after_db", "level"), [(4.0, "stop"), (14.0, "watch")])
def test_a_clip_that_may_hide_a_discharge_warns_unless_something_like_one_is_heard(after_db, level) -> None:
    plain = {"level_db": 12.0, "stands_db": 12.0, "after_db": after_db}
    said = say(*without_discharge(**plain), did=BREW_DID, quality=NOISY)
    assert (said.verdict, said.level) == ("cannot_tell", level)


@pytest.mark.parametrize(
    ("discharge_p", "stands_db", "level"), [(0.01, 12.0, "stop"), (0.01, 2.0, "stop"), (0.1, 12.0, "watch")]
)
def test_under_noise_the_ear_itself_is_asked_whether_there_was_a_discharge(
    discharge_p, stands_db, level
) -> None:
    """The model has learned discharges under noise, beside pumps that end without: the level alone hides them far sooner."""
    ended = {"level_db": stands_db, "stands_db": stands_db, "after_db": 14.0, "discharge_p": discharge_p}
    said = say(*without_discharge(**ended), did=BREW_DID, quality=NOISY)
    assert (said.verdict, said.level) == ("cannot_tell", level)
    assert ("take the group to be under pressure" in said.because) is (level == "stop")


@pytest.mark.parametrize(("discharge_p", "level"), [(0.05, "stop"), (0.5, "watch")])
def test_a_clip_that_may_hide_a_discharge_does_not_warn_where_one_is_likely(discharge_p, level) -> None:
    plain = {"level_db": 12.0, "stands_db": 12.0, "after_db": 4.0, "discharge_p": discharge_p}
    said = say(*without_discharge(**plain), did=BREW_DID, quality=NOISY)
    assert (said.verdict, said.level) == ("cannot_tell", level)


@pytest.mark.parametrize(("onset_s", "level"), [(28.3, "watch"), (29.2, "stop")])
def test_a_faint_discharge_is_one_only_where_its_valve_lets_it(onset_s: float, level: str) -> None:
    faint = ev("burst", onset_s, onset_s + 0.3, p=0.41)
    said = say(*without_discharge(level_db=12.0, stands_db=12.0, after_db=6.0), faint, did=BREW_DID)
    assert said.level == level


@pytest.mark.parametrize(("p", "verdict"), [(0.6, "cannot_tell"), (0.97, "normal")])
def test_the_first_stroke_of_a_pump_is_no_click_of_its_valve(p: float, verdict: str) -> None:
    """A soft click just where the strokes begin may be the first of them; a sure one is the valve."""
    begins = ev("stroke_train", 3.05, 8.0)
    at_fill = [click(3.07, p=p), begins, click(8.0)]
    said = say(*at_fill, did=("0:03 fill_button",), machine=VIBRATORY, at=15.0)
    assert said.verdict == verdict, said.because
    assert "missing_click_fill" not in [f.code for f in said.findings if not f.unproven]
    # Away from it the same click counts.
    early = say(click(2.8, p=0.6), begins, click(8.0), did=("0:03 fill_button",), machine=VIBRATORY, at=15.0)
    assert early.verdict == "normal"


@pytest.mark.parametrize(("did", "p", "accused"), [
    (SHUT_DID, 0.70, True), (SHUT_DID, 0.62, False), (("0:03 fill_button",), 0.70, False), (("0:03 fill_button",), 0.85, True),
])  # fmt: skip
def test_a_faint_hum_alone_is_no_motor_that_stands(did, p: float, accused: bool) -> None:
    """The lines of a motor that turns may be lost beside its hum; a brew that does not discharge adds to it."""
    said = say(click(3.0), ev("mains_hum", 3.1, SHUT_S, p=p), did=did, at=SHUT_S)
    assert ("stalled_motor" in [f.code for f in said.findings if not f.unproven]) is accused
    assert said.verdict == ("abnormal" if accused else "cannot_tell")


@pytest.mark.parametrize(("p", "found"), [(0.95, True), (0.8, False)])
def test_a_beat_that_is_hardly_heard_leaves_out_no_strokes(p: float, found: bool) -> None:
    events = brew("stroke_train")
    events[1] = ev("stroke_train", 3.1, 28.0, p=p, missing_fraction=0.2)
    assert ("missing_strokes" in codes(say(*events, did=BREW_DID, machine=VIBRATORY))) is found


@pytest.mark.parametrize(
    ("p", "level_db", "verdict"),
    [(0.9, 45.0, "abnormal"), (0.9, 27.0, "cannot_tell"), (0.6, 45.0, "cannot_tell")],
)
def test_the_catch_of_a_lever_is_asked_about_and_a_lever_that_strikes_is_found(p, level_db, verdict) -> None:
    knock = ev("bang", 19.0, 19.05, p=p, level_db=level_db)
    said = say(
        click(2.0), ev("water_flow", 3.0, 20.0), knock, did=("0:02 lever_pull",), machine=MANUAL, at=24.0
    )
    assert said.verdict == verdict and "lever_scrape" in codes(said)
    assert said.say_first and "cocked spring lever" in said.say_first


@pytest.mark.parametrize(("lines", "verdict"), [(12.0, "abnormal"), (7.0, "cannot_tell")])
def test_a_comb_of_few_lines_is_asked_about_and_accuses_no_coil(lines: float, verdict: str) -> None:
    """A motor and a coil that is held have a few multiples of their own (common practice)."""
    said = say(*brew(), ev("mains_buzz", 3.1, 28.0, lines=lines), did=BREW_DID)
    assert (said.verdict, codes(said)) == (verdict, ["solenoid_buzz"])


@pytest.mark.parametrize(("lead_db", "verdict"), [(2.0, "normal"), (7.0, "cannot_tell")])
def test_strokes_rich_in_twice_the_mains_leave_a_buzzing_coil_open(lead_db: float, verdict: str) -> None:
    events = brew("stroke_train")
    events[1] = ev("stroke_train", 3.1, 28.0, even_lead_db=lead_db)
    said = say(*events, did=BREW_DID, machine=replace(VIBRATORY, coils="ac"))
    assert said.verdict == verdict and said.level in ("fine", "watch")


@pytest.mark.parametrize(
    ("state", "sounds"),
    [("steam", ("hiss",)), ("hot_water", ("water_flow", "splutter")), ("hot_water", ("hiss",))],
)
def test_an_open_tap_that_is_not_heard_to_run_is_not_called_normal(
    state: str, sounds: tuple[str, ...]
) -> None:
    """Steam or water that is let out is heard (common practice); a clip without it leaves the machine open."""
    did, end = ("0:00 idle_hot", f"0:05 {state}"), 12.0
    silent = say(click(5.0), did=did, at=end)
    assert silent.verdict == "cannot_tell" and "Expected and not heard" in silent.because
    running = say(click(5.0), *(ev(s, 5.1, end) for s in sounds), did=did, at=end, gauges={"boiler": 1.1})
    assert "Expected and not heard" not in running.because


STEADY = ("0:00 idle_hot", *BREW_DID)


@pytest.mark.parametrize(("over_quiet_db", "level"), [(12.0, "stop"), (1.0, "fine"), (-15.0, "stop")])
def test_the_floor_of_a_clip_is_no_water_that_runs_on(over_quiet_db: float, level: str) -> None:
    flow = ev("water_flow", 30.5, 50.0, p=0.6, open_end=True, over_quiet_db=over_quiet_db)
    assert say(*brew(), flow, did=STEADY, at=50.0).level == level


@pytest.mark.parametrize(
    ("until_s", "open_end", "level"), [(50.0, True, "stop"), (38.0, False, "watch"), (40.0, True, "watch")]
)
def test_a_steady_noise_long_after_the_stop_may_be_water(until_s: float, open_end: bool, level: str) -> None:
    """Water that flows hisses as well (common practice)."""
    hiss = ev("hiss", 29.0, until_s, p=0.6, open_end=open_end, over_quiet_db=12.0)
    said = say(*brew(), hiss, did=STEADY, at=until_s if open_end else 50.0)
    assert (said.verdict, said.level) == ("cannot_tell", level)
    assert ("flow_runs_on" in codes(said)) is (level == "stop")


@pytest.mark.parametrize(("from_s", "open_start", "level"), [(0.0, True, "watch"), (5.0, False, "stop")])
def test_what_the_clip_began_with_is_no_water_of_a_later_brew(from_s, open_start, level) -> None:
    hiss = ev("hiss", from_s, 50.0, p=0.6, open_start=open_start, open_end=True)
    assert say(*brew(), hiss, did=STEADY, at=50.0).level == level


@pytest.mark.parametrize(("fall_db", "level"), [(8.0, "watch"), (2.0, "stop"), (0.5, "stop")])
def test_water_that_is_lost_and_does_not_fall_may_run_on(fall_db: float, level: str) -> None:
    flow = ev("water_flow", 0.0, 12.0, p=0.6, open_start=True, fall_db=fall_db)
    assert say(flow, did=("0:00 off_at_wall",), at=20.0).level == level


@pytest.mark.parametrize(("stands_db", "stopped"), [(14.0, True), (0.5, False)])
def test_a_motor_that_raises_nothing_did_not_start_with_the_brew(stands_db: float, stopped: bool) -> None:
    """A refrigerator that was there before, seen from the click of the brew on."""
    motor = ev("motor_run", 3.1, 60.0, open_end=True, slip=0.04, level_db=0.0, stands_db=stands_db)
    said = say(
        click(3.0),
        motor,
        click(28.0),
        ev("burst", 28.1, 28.9, level_db=14.0, decay_ms=300.0),
        did=BREW_DID,
        at=60.0,
    )
    assert ("pump_runs_on" in codes(said)) is stopped


def test_a_hum_that_goes_on_as_told_is_the_pumps() -> None:
    """A phone may keep no more of a pump than its hum; a hum alone accuses nobody here."""
    events = [
        click(3.0),
        ev("mains_hum", 3.1, 50.0, open_end=True),
        click(28.0),
        ev("burst", 28.1, 28.9, level_db=14.0, decay_ms=300.0),
    ]
    told = say(*events, did=BREW_DID, at=50.0, said="The pump keeps running.")
    assert told.level == "stop" and "pump_runs_on" in codes(told)
    assert "pump_runs_on" not in codes(say(*events, did=BREW_DID, at=50.0))


def motor_piece(onset_s: float, offset_s: float, shaft_hz: float, **kinds: bool):
    return ev(
        "motor_run", onset_s, offset_s, slip=0.04, shaft_hz=shaft_hz, level_db=9.0, stands_db=12.0, **kinds
    )


@pytest.mark.parametrize(
    ("shaft_hz", "clicks_s", "level"), [(24.0, (), "stop"), (28.0, (), "watch"), (24.0, (100.0,), "watch")]
)
def test_a_motor_lost_for_a_moment_of_a_long_fill_is_one_run(shaft_hz, clicks_s, level) -> None:
    """A grinder may cover it; one that turns at another rate, or is switched there, is another run."""
    events = [click(2.0), motor_piece(2.1, 100.0, 24.0), motor_piece(104.5, 190.0, shaft_hz, open_end=True)]
    said = say(*events, *(click(at_s) for at_s in clicks_s), did=("0:00 cold_start",), at=190.0)
    assert (said.level == "stop") is (level == "stop"), said.because


@pytest.mark.parametrize(("level_db", "stands_db", "level"), [(0.5, 2.0, "stop"), (8.0, 12.0, "watch")])
def test_a_beat_in_the_noise_of_a_jet_is_no_fill(level_db: float, stands_db: float, level: str) -> None:
    jet = ev("hiss", 5.0, 20.0, p=0.9, roughness=3.6)
    beat = ev("stroke_train", 8.0, 12.0, level_db=level_db, stands_db=stands_db)
    said = say(jet, beat, did=("0:00 idle_hot", "0:05 hot_water_open"), at=21.0)
    assert (said.level == "stop") is (level == "stop")


@pytest.mark.parametrize(("roughness", "stops"), [(4.3, True), (5.9, False)])
def test_an_even_hiss_that_is_hardly_sure_is_no_water(roughness: float, stops: bool) -> None:
    """Bubbles make water rough from moment to moment; steam alone is even (training scenes)."""
    call = replace(GOOD, band_hz=(50.0, 7200.0))
    jet = ev("hiss", 5.0, 20.0, p=0.58, roughness=roughness, over_quiet_db=25.0)
    said = say(jet, did=("0:00 idle_hot", "0:05 hot_water_open"), at=21.0, quality=call)
    assert (said.level == "stop") is stops


def test_a_jet_that_may_hide_the_discharge_of_a_plain_pump_keeps_the_handle_locked() -> None:
    plain = {"level_db": 12.0, "stands_db": 12.0}
    hiss = ev("hiss", 0.0, 40.0, p=0.6, open_start=True, open_end=True)
    said = say(*without_discharge(after_db=7.0, **plain), hiss, did=BREW_DID, at=40.0)
    assert (said.verdict, said.level) == ("cannot_tell", "stop") and "no_burst" in codes(said)
    louder = say(*without_discharge(after_db=14.0, **plain), hiss, did=BREW_DID, at=40.0)
    assert louder.level != "stop"


@pytest.mark.parametrize(
    ("after_db", "behind_db", "level"), [(20.0, 16.0, "watch"), (20.0, 12.0, "stop"), (12.0, 16.0, "stop")]
)
def test_what_stands_further_out_than_the_pump_did_right_behind_it_is_perhaps_the_discharge(
    after_db, behind_db, level
) -> None:
    """The end of the pump itself stands no further out than the pump."""
    ended = {"level_db": 9.0, "stands_db": 9.0, "after_db": after_db, "behind_db": behind_db}
    assert say(*without_discharge(**ended), did=BREW_DID).level == level


@pytest.mark.parametrize(
    ("p", "quality", "accused"), [(0.6, GOOD, True), (0.6, TELEPHONE, False), (0.9, TELEPHONE, True)]
)
def test_a_hiss_that_hardly_stands_in_a_telephones_band_accuses_nobody(
    p: float, quality, accused: bool
) -> None:
    """What the band cuts off is hiss; what is left of one may be the noise of the line (3GPP, 300 to 3400 Hz)."""
    hiss = ev("hiss", 0.0, 20.0, p=p, open_start=True, open_end=True)
    said = say(hiss, did=("0:00 idle_hot",), at=20.0, quality=quality, gauges={"boiler": 1.1})
    assert (said.verdict == "abnormal") is accused
    assert accused or (said.verdict, said.level) == ("cannot_tell", "watch")


@pytest.mark.parametrize(
    ("pump", "machine", "accused"), [("motor_run", ROTARY, False), ("stroke_train", VIBRATORY, True)]
)
def test_a_click_just_before_a_motor_is_its_valves_though_the_fill_was_told_late(
    pump, machine, accused
) -> None:
    """Motors are heard to start up to half a second late; people tap up to a second and a half late."""
    fill = [click(3.0), ev(pump, 3.7, 9.0, slip=0.04, level_db=12.0, stands_db=12.0), click(9.0)]
    said = say(*fill, machine=machine, did=("0:00 idle_hot", "0:04.6 auto_fill", "0:09.2 idle_hot"), at=20.0)
    assert ("missing_click_fill" in codes(said)) is accused
