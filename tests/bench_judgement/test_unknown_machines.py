"""A machine of which nothing is known: silence accuses nobody, and clears nobody."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.types import Limit
from tests.bench_judgement.scenes import (
    BREW_DID,
    GOOD,
    ROTARY,
    UNKNOWN,
    VIBRATORY,
    brew,
    click,
    codes,
    ev,
    say,
    without,
)

NO_HISS = replace(GOOD, limits=(Limit("narrow_band", "A telephone band.", ("hiss",)),))
PUMPLESS = replace(UNKNOWN, pump="none")
FILL_DID = ("0:03 auto_fill", "0:12 idle_hot")
FILL_HUM = [click(3.0), ev("mains_hum", 3.0, 12.0, 0.95), click(12.0)]


def test_a_whole_brew_is_normal_on_any_machine() -> None:
    got = say(*brew(), machine=UNKNOWN, did=BREW_DID)
    assert got.verdict == "normal" and got.question is None


def test_a_brew_without_a_pump_is_normal_only_where_there_is_none() -> None:
    """Lever groups on line pressure have no pump; most machines have (common practice)."""
    silent = without(brew(), 1)
    got = say(*silent, machine=UNKNOWN, did=BREW_DID)
    assert got.verdict == "cannot_tell" and got.level == "watch"
    assert "pump" in (got.question or "") and "nothing is known" in got.because
    assert say(*silent, machine=PUMPLESS, did=BREW_DID).verdict == "normal"
    known = say(*silent, machine=ROTARY, did=BREW_DID)
    assert [e.status for e in known.expected if e.sound == "motor_run"] == ["missing"]


def test_a_short_brew_without_a_discharge_asks_for_the_group() -> None:
    """Nothing was pressed long enough to be trapped, and yet a group with a valve discharges (common practice)."""
    did = ("0:03 brew_on", "0:06 brew_off")
    whole, silent = brew(end=6.0), without(brew(end=6.0), 3)
    got = say(*silent, machine=UNKNOWN, did=did, at=20.0)
    assert got.verdict == "cannot_tell" and "group" in (got.question or "")
    assert say(*whole, machine=UNKNOWN, did=did, at=20.0).verdict == "normal"


def test_a_hum_at_a_fill_accuses_a_motor_only_where_there_is_one() -> None:
    """A fill from the line alone hums as well: its valve does (common practice)."""
    assert codes(say(*FILL_HUM, machine=ROTARY, did=FILL_DID)) == ["stalled_motor"]
    got = say(*FILL_HUM, machine=UNKNOWN, did=FILL_DID)
    assert got.verdict == "cannot_tell" and got.level == "watch" and "line" in (got.question or "")
    assert say(*FILL_HUM, machine=PUMPLESS, did=FILL_DID).verdict == "normal"


def test_a_known_pump_is_asked_for_once() -> None:
    for machine in (ROTARY, replace(UNKNOWN, pump="rotary")):
        got = say(*without(brew(), 1), machine=machine, did=BREW_DID)
        assert [e.sound for e in got.expected].count("motor_run") == 1


@pytest.mark.parametrize(("p", "level"), [(0.95, "stop"), (0.7, "watch")])
def test_strokes_show_what_kind_of_pump_it_is(p: float, level: str) -> None:
    """Nothing else in a kitchen strokes: the refrigerator that is heard once the pump stops is not the pump."""
    pump = [click(3.0), ev("stroke_train", 3.1, 28.0, p, strokes_hz=50.0), click(28.0)]
    fridge = ev("motor_run", 28.2, 40.0, 0.9, slip=0.04, open_end=True)
    assert say(*pump, fridge, machine=UNKNOWN, did=BREW_DID).level == level


def test_after_a_brew_a_clip_that_carries_no_hiss_is_not_called_normal() -> None:
    """What gets out behind the brew would not be heard in it."""
    got = say(*brew("stroke_train"), machine=VIBRATORY, did=BREW_DID, quality=NO_HISS)
    assert got.verdict == "cannot_tell" and "hiss" in got.because
    assert say(*brew("stroke_train"), machine=VIBRATORY, did=BREW_DID, quality=GOOD).verdict == "normal"
