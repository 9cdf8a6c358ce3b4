"""The measuring of a shop's learning: machines stay themselves, errors and intervals are what they say."""

from dataclasses import replace

import numpy as np
import pytest

from listen.learn.promote import Decision
from listen.learn.score.rules import load_rules
from listen.learn.score.truth import Heard, TruthClip, TruthLabel
from listen.types import SoundEvent
from synthetic_audio.second import struck
from tests.measure import shop_clips, shop_machines

RULES = load_rules()


@pytest.fixture(scope="module")
def machine():
    return shop_machines.build(960_900, "rotary")


def counts(*rows):
    """Clips of (hits, misses, false), the same for all sounds and for clicks."""
    return np.array([[row, row] for row in rows], float)


def test_error_is_one_less_f1_over_all_clips_together():
    # F1 = 2 TP / (2 TP + FN + FP), van Rijsbergen (1979): here 2 * 4 / (8 + 2 + 2).
    assert shop_clips.errors(counts((4, 0, 0), (0, 2, 2))) == pytest.approx([1 - 8 / 12] * 2)
    assert shop_clips.errors(np.stack([counts((1, 0, 0)), counts((0, 1, 0))])).tolist() == [[0, 0], [1, 1]]


def test_an_equal_way_changes_nothing_and_a_better_one_surely():
    bad, good = counts(*[(1, 1, 1)] * 6), counts(*[(2, 0, 0)] * 6)
    draws = shop_clips.resampled([[bad, bad, good]] * 3, 50, 1)
    assert draws.shape == (50, 3, 2)
    assert np.array_equal(draws[:, 0], draws[:, 1]) and (draws[:, 2] < draws[:, 0]).all()
    lines = shop_clips.table([[bad, bad, good]] * 3, ["0", "same", "good"])
    assert "change" not in lines[0] and "+0.000 [+0.000, +0.000]" in lines[1]
    assert "all sounds 0.000 [0.000, 0.000], change -0.500 [-0.500, -0.500]" in lines[2]


def test_clicks_are_counted_beside_all_sounds():
    clip = TruthClip("c", "g", 10.0, [TruthLabel("click", 2.0, 2.1), TruthLabel("hiss", 4.0, 8.0)])
    said = [SoundEvent("e1", "click", 2.01, 2.1, 0.9), SoundEvent("e2", "click", 6.0, 6.1, 0.9)]
    got = shop_clips.counts_of([clip], [Heard(said, "normal", "fine")], RULES)
    assert got.tolist() == [[[1, 1, 1], [1, 0, 1]]]


def test_decisions_are_counted_with_their_reasons():
    yes = Decision(True, (), "", {})
    no = replace(
        yes, promoted=False, reasons=("x click is found worse (F1 0.1)", "the mean F1 falls from 1 to 0")
    )
    said = shop_clips.tell([yes, no, no])
    assert (
        said.startswith("promoted 1 of 3") and "a sound found worse 2" in said and "mean F1 falls 2" in said
    )


def test_a_machine_keeps_its_profile_and_its_build(machine):
    specs = [shop_machines.spec_of(machine, 960_950 + n, "normal_brew") for n in range(4)]
    assert all(spec.machine == machine.profile for spec in specs)
    assert len({str(spec.room) for spec in specs}) == len({str(spec.phone) for spec in specs}) == 4
    motors = [e for spec in specs for e in spec.events if e.kind == "motor" and e.source == "machine"]
    assert (
        len(motors) >= 3
        and len({e.values["vanes"] for e in motors}) == len({e.values["slip"] for e in motors}) == 1
    )
    other = shop_machines.build(960_901, "rotary")
    assert other.values != machine.values and shop_machines.build(960_900, "rotary") == machine


def test_a_machine_keeps_its_valves(machine):
    def valve(seed, own, family="normal_brew"):
        with shop_machines._bodies(own, family):
            return struck._valve(np.random.default_rng(seed))[0].frequency_hz

    assert np.array_equal(valve(1, machine), valve(2, machine))
    assert not np.array_equal(valve(1, machine), valve(1, machine, "normal_fill"))
    other = replace(machine, seed=960_901)
    assert not np.array_equal(valve(1, machine), valve(1, other))
    # Outside, the generator is as it was.
    assert not np.array_equal(struck._valve(np.random.default_rng(1))[0].frequency_hz, valve(1, machine))


def test_a_pool_holds_what_the_machine_can_show_and_no_scene_twice(machine):
    families = shop_machines.families_of(machine, 20, 0)
    assert (
        len(families) == 20
        and set(families) <= set(machine.families())
        and "stalled_motor" in machine.families()
    )
    assert families != shop_machines.families_of(machine, 20, 500)
    assert "stalled_motor" not in shop_machines.build(960_902, "vibratory").families()
    assert not set(shop_machines.LONG) & set(families)
    assert max(shop_clips.CLIPS) < shop_clips.TEST_FROM < shop_clips.PER_MACHINE
