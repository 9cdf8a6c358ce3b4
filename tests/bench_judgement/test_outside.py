"""Numbers of the knowledge tables against things outside the project."""

from __future__ import annotations

import pytest

from listen.bench import load_knowledge


def test_vent_limit_lies_above_the_closing_temperature_of_a_vacuum_valve() -> None:
    """A vacuum valve closes at about 95 to 105 °C (common practice).

    Saturation pressure by IAPWS-IF97 (package `iapws`), 101 325 Pa outside: the
    limit up to which a vent hiss is explained must cover 105 °C, and must lie
    well below the 0.74 bar at which a leak of saturated steam is choked.
    """
    iapws = pytest.importorskip("iapws")
    at_closing_bar = (iapws.IAPWS97(T=273.15 + 105.0, x=1).P - 0.101325) * 10.0
    limits = {e.boiler_at_most_bar for e in load_knowledge().expectations if e.boiler_at_most_bar is not None}
    assert min(limits) == 0.3
    assert at_closing_bar < 0.3 < 0.743 / 2.0


def test_trapped_air_explains_a_gauge_above_the_vent_limit() -> None:
    """A sealed part-cold boiler reads far more than 0.3 bar: a hiss there is not the vent.

    Rigid gas space closed at 20 °C, heated to 80 °C: air by the gas law plus
    saturation pressure (IAPWS-IF97).
    """
    iapws = pytest.importorskip("iapws")
    steam_mpa = iapws.IAPWS97(T=273.15 + 80.0, x=1).P
    cold_mpa = iapws.IAPWS97(T=273.15 + 20.0, x=1).P
    air_mpa = (0.101325 - cold_mpa) * (273.15 + 80.0) / (273.15 + 20.0)
    reading_bar = (air_mpa + steam_mpa - 0.101325) * 10.0
    assert reading_bar == pytest.approx(0.65, abs=0.02)
    assert reading_bar > 0.3


@pytest.mark.parametrize("plate_bar", [1.5, 1.8, 2.0])
def test_the_plate_rule_stops_before_the_valve_may_open(plate_bar: float) -> None:
    """ISO 4126-1:2013 with Amd 1:2016: set pressure within 3 % or 0.1 bar, whichever is greater."""
    opens_bar = plate_bar - max(0.03 * plate_bar, 0.1)
    rule = next(r for r in load_knowledge().gauge_rules if r.above == "safety_valve_plate_bar")
    assert rule.level == "stop"
    assert plate_bar + rule.margin_bar < opens_bar
