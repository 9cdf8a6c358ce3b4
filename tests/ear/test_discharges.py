"""How likely a discharge is behind each pump: the model is asked, also where nothing is named one."""

import numpy as np
import pytest

from listen.ear.discharges import tell_discharges
from listen.ear.draft import Draft
from listen.features.starts import START_NAMES, Starts
from listen.features.textures import SEGMENT_HOP_S, Segments
from listen.spectra import CELL_S
from tests.support.heads import NO, linear_head

DURATION_S, NOWHERE = 12.0, Starts(np.zeros((0, len(START_NAMES)), np.float32), np.zeros(0, int))
NONE = linear_head(START_NAMES, {"burst": ("", NO, 0.0)})


def told(pump: Draft, likely_s: float = 0.0, starts: Starts = NOWHERE, head=NONE) -> float | None:
    """Let the texture head find a discharge half likely in the second around `likely_s`, and ask behind a pump."""
    starts_s = np.arange(0.0, DURATION_S - 1.0, SEGMENT_HOP_S)
    burst = np.where(np.abs(starts_s + 0.5 - likely_s) < 0.3, 0.5, 0.001)
    tell_discharges([pump], Segments(np.zeros((len(starts_s), 1), np.float32), starts_s), burst, starts, head)
    return pump.measures.get("discharge_p")


def pump(sound: str = "stroke_train", offset_s: float = 8.0, **kinds) -> Draft:
    return Draft(sound, 2.0, offset_s, 0.9, {}, **kinds)


@pytest.mark.parametrize(("likely_s", "p"), [(8.4, 0.5), (4.0, 0.001), (10.5, 0.001)])
def test_only_what_follows_on_the_pump_is_its_discharge(likely_s, p):
    assert told(pump(), likely_s) == pytest.approx(p)


def test_a_motor_runs_down_behind_its_valve():
    assert told(pump("motor_run"), 7.5) == pytest.approx(0.5)
    assert told(pump("stroke_train"), 7.5) == pytest.approx(0.001)


def test_how_it_begins_tells_as_well():
    there = Starts(np.zeros((1, len(START_NAMES)), np.float32), np.array([round(8.2 / CELL_S)]))
    half = linear_head(START_NAMES, {"burst": ("", 0.0, 0.0)})
    assert there.times_s[0] == pytest.approx(8.2, abs=0.1)
    assert told(pump(), starts=there, head=half) == pytest.approx(0.5)


def test_a_pump_whose_end_is_not_heard_is_not_asked():
    assert told(pump(open_end=True), 8.0) is None
    assert told(pump(offset_s=DURATION_S + 3.0), 8.0) is None
