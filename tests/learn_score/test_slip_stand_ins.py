"""The independent measure of slip: a turning shaft's orders are told from the mains' own multiples."""

import pytest
import soundfile

from tests.measure.slip_stand_ins import Heard, said, something_slips
from tests.support.signals import RATE_HZ, comb, noise, tones

FIVE_S = 5.0
HUM = comb(100.0, range(1, 6), 0.05)


@pytest.mark.parametrize("lines, slips", [
    ({}, False),
    (HUM, False),
    (HUM | {48.5: 0.02}, False),
    (HUM | {48.5: 0.02, 97.0: 0.02}, True),
    (HUM | {44.18 * k: 0.02 for k in (3, 4, 8, 12)}, True),
], ids=["noise", "transformer", "one line", "two orders of a shaft", "a fan of four blades"])  # fmt: skip
def test_orders_of_a_shaft_slip_and_multiples_of_the_mains_do_not(tmp_path, lines, slips):
    samples = noise(FIVE_S, 0.001, 1) + (tones(FIVE_S, lines, 2) if lines else 0.0)
    soundfile.write(tmp_path / "hum.wav", samples, RATE_HZ)
    assert something_slips(tmp_path / "hum.wav", 50.0) is slips


@pytest.mark.parametrize("kind, sounds, stalled, slips, wrong", [
    ("microwave_hum", {"mains_hum"}, True, False, False),
    ("microwave_hum", {"motor_run"}, False, False, True),
    ("microwave_hum", {"motor_run"}, False, True, False),
    ("motor_hum", {"mains_hum"}, False, False, False),
    ("motor_hum", {"mains_hum"}, True, False, True),
    ("motor_hum", {"stroke_train"}, False, False, True),
    ("pump_water_appliance", {"stroke_train"}, False, False, False),
])  # fmt: skip
def test_what_is_wrong_of_a_stand_in(kind, sounds, stalled, slips, wrong):
    assert Heard(kind, "test", "r", "c.flac", frozenset(sounds), stalled, slips).wrong is wrong


def test_what_was_said_in_words():
    assert said(frozenset({"stroke_train", "mains_buzz"})) == "locked and strokes"
