"""Releases and blasts from where they begin: the word is the model's, the end is measured."""

import numpy as np
import pytest

from listen.ear.beginnings import hear_beginnings
from listen.ear.levels import LevelTracks
from listen.ear.noises import _followed, hear_noises
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.starts import START_NAMES, find_starts
from listen.features.textures import segment_textures
from tests.features.test_starts import DURATION_S, jet, release
from tests.support.heads import NO, linear_head, texture_head
from tests.support.signals import band_noise, collect, noise, within

FALLS = {
    # What is gone after a second and a half is a release, what is still there a blast.
    "burst": ("over_5_18_28_db", 8.0, -2.0),
    "blast": ("over_5_18_28_db", 12.0, 2.0),
}
HEAD = linear_head(START_NAMES, FALLS)
FLOOR = noise(DURATION_S, 0.001, 1)


def heard(samples, head=HEAD):
    features = collect(samples)
    return hear_beginnings(find_starts(features), LevelTracks(features), head)


def noises(samples, starts_head=HEAD, **textures):
    features = collect(samples)
    segments = segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))
    return hear_noises(features, segments, texture_head(**textures), starts_head)


def test_a_release_is_named_and_ends_when_it_is_spent():
    (draft,) = heard(FLOOR + release(4.0, 0.6, 2))
    assert draft.sound == "burst" and draft.probability > 0.5
    assert draft.onset_s == pytest.approx(4.0, abs=0.1) and 0.3 <= draft.duration_s <= 1.2


def test_a_release_behind_a_pump_that_stops_with_it():
    pump = within(band_noise(DURATION_S, 0.02, 3, 100, 800), 1.0, 4.0)
    # The pump's own beginning is a noise too, of another colour; this simple part cannot tell.
    drafts = [d for d in heard(FLOOR + pump + release(4.0, 0.6, 4)) if d.onset_s > 2.0]
    assert [d.sound for d in drafts] == ["burst"]
    assert drafts[0].onset_s == pytest.approx(4.0, abs=0.15) and drafts[0].duration_s < 1.5


def test_a_jet_lasts_until_it_falls():
    (draft,) = heard(FLOOR + jet(3.0, 7.5, 5))
    assert draft.sound == "blast" and not draft.open_end
    assert draft.onset_s == pytest.approx(3.0, abs=0.1) and draft.offset_s == pytest.approx(7.5, abs=0.3)


def test_a_jet_that_is_there_at_the_end_is_open():
    (draft,) = heard(FLOOR + jet(3.0, DURATION_S, 6))
    assert draft.open_end and draft.offset_s == pytest.approx(DURATION_S, abs=0.1)


def test_nothing_is_named_that_the_model_does_not_name():
    assert heard(FLOOR + release(4.0, 0.6, 7), linear_head(START_NAMES, {"burst": ("", NO, 0.0)})) == []
    # A word whose beginning is not followed here is left to others, however sure the model is.
    assert heard(FLOOR + release(4.0, 0.6, 7), linear_head(START_NAMES, {"boil": ("", 60.0, 0.0)})) == []


def test_a_blast_must_be_something_of_a_jet_while_it_lasts():
    samples = FLOOR + jet(3.0, 7.5, 8)
    assert [d.sound for d in noises(samples, hiss=("", NO, 0.0), blast=("", NO, 0.0))] == []
    (draft,) = noises(samples, hiss=("", -0.5, 0.0), blast=("", -0.5, 0.0))
    assert draft.sound == "blast" and draft.measures["level_db"] > 10 and draft.measures["rise_ms"] < 200


def test_without_the_part_only_segments_speak():
    assert noises(FLOOR + release(4.0, 0.6, 9), None) == []
    (draft,) = noises(FLOOR + release(4.0, 0.6, 9))
    assert draft.sound == "burst" and set(draft.measures) == {"level_db", "decay_ms", "centroid_hz"}
    assert 100 < draft.measures["decay_ms"] < 700


def test_the_order_of_probability_decides_between_rivals():
    samples = FLOOR + jet(3.0, 7.5, 10)
    (draft,) = noises(samples, hiss=("rise_5k_8k_db", 5.0, 5.0))
    assert draft.sound == "hiss" and np.isclose(draft.offset_s, 7.5, atol=0.4)


RISE = "rise_800_1k6_db"


def test_what_goes_on_is_named_though_no_second_of_it_is_sure():
    samples = FLOOR + within(band_noise(DURATION_S, 0.003, 11, 500, 5000), 1.0, 9.0)
    # Never above 0.3 in any segment.
    (draft,) = noises(samples, None, water_flow=(RISE, 17.7, 0.3), hiss=("", NO, 0.0))
    assert draft.sound == "water_flow" and draft.probability == 0.6 and draft.duration_s > 6.0


def test_a_jet_goes_on_though_no_second_of_it_is_sure_and_hiss_and_blast_speak_for_it_together():
    samples = FLOOR + within(band_noise(DURATION_S, 0.01, 14, 1500, 14_000), 2.0, 8.0)
    lean = ("rise_5k_8k_db", 24.0, 0.3)
    (draft,) = noises(samples, None, hiss=lean, blast=lean, fan=("", NO, 0.0))
    assert draft.sound == "hiss" and draft.probability == 0.6 and draft.duration_s > 4.0
    assert [d.sound for d in noises(samples, None, hiss=lean, blast=lean, fan=("", 2.0, 0.0))] == ["fan"]


def test_what_runs_evenly_is_followed_though_its_level_drifts_and_no_further_than_a_step():
    level = np.concatenate(
        [np.full(10, -60.0), np.linspace(-45.0, -39.0, 30), np.full(10, -39.0), np.full(10, -55.0)]
    )
    p = np.full(len(level), 0.1)
    assert _followed(level, p, 38, 48) == (10, 50)
    # Not where the model rules it out, and a drift has its bounds.
    p[20] = 0.0
    assert _followed(level, p, 38, 48) == (21, 50)
    far = np.linspace(-80.0, -39.0, 60)
    first, stop = _followed(far, np.full(60, 0.1), 50, 60)
    assert stop == 60 and far[first] > -39.0 - 12.0


def test_what_goes_on_is_not_named_beside_a_likelier_word_or_when_short():
    long = FLOOR + within(band_noise(DURATION_S, 0.003, 12, 500, 5000), 1.0, 9.0)
    assert noises(long, None, water_flow=("", -1.3, 0.0), fan=("", -0.4, 0.0)) == []
    short = FLOOR + within(band_noise(DURATION_S, 0.003, 13, 500, 5000), 4.0, 5.5)
    assert noises(short, None, water_flow=(RISE, 17.7, 0.3), hiss=("", NO, 0.0)) == []


@pytest.mark.parametrize("decay_s", [0.4, 0.7, 1.2])
def test_a_release_ends_by_the_slope_of_its_fall_though_noise_hides_the_rest(decay_s):
    # Twelve decibels over the noise: the fall to -20 dB, which is its end, cannot be seen.
    (draft,) = heard(noise(DURATION_S, 0.012, 11) + release(4.0, decay_s, 12))
    assert draft.sound == "burst" and draft.offset_s == pytest.approx(
        4.0 + decay_s, abs=max(0.3, 0.3 * decay_s)
    )
