"""Textures to sounds with bounds and measures, with a model part that follows one known measurement."""

import numpy as np
import pytest

from listen.ear.draft import Draft
from listen.ear.levels import LevelTracks
from listen.ear.noises import _bounded, _ended_by_releases, _followed, _lasting, _settle, _surest, hear_noises
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.textures import segment_textures
from tests.support.heads import NO, logit_of, texture_head
from tests.support.signals import RATE_HZ, band_noise, collect, noise, within

DURATION_S = 12.0
#: A sound counts where the treble stands 10 dB over the clip's own floor.
TREBLE = ("rise_5k_8k_db", 10.0, 1.0)


def heard(samples, **rules):
    features = collect(samples)
    combs = comb_tracks(features.lines, estimate_mains(features.lines))
    return hear_noises(features, segment_textures(features, combs), texture_head(**rules))


def jet(on_s, off_s, rms=0.03, duration_s=DURATION_S, seed=2):
    return noise(duration_s, 0.001, 1) + within(band_noise(duration_s, rms, seed, 3000, 14_000), on_s, off_s)


def swell(samples, start_s, stop_s):
    """Let a sound grow from nothing to itself, linearly in dB over 40 dB."""
    t = np.arange(len(samples)) / RATE_HZ
    return samples * 10 ** (-2 * (1 - np.clip((t - start_s) / (stop_s - start_s), 0, 1)))


@pytest.mark.parametrize("on_s, off_s", [(3.0, 8.0), (2.37, 5.81), (6.0, 7.5)])
def test_hiss_is_bounded(on_s, off_s):
    (draft,) = heard(jet(on_s, off_s), hiss=TREBLE)
    assert draft.sound == "hiss"
    assert draft.onset_s == pytest.approx(on_s, abs=0.2) and draft.offset_s == pytest.approx(off_s, abs=0.2)
    assert not draft.open_start and not draft.open_end
    measures = draft.measures
    # In-band: the jet's 11 kHz against the room's share of that band (0.001² · 12/16).
    assert measures["level_db"] == pytest.approx(
        20 * np.log10(0.03 / 0.001) + 10 * np.log10(16 / 12), abs=2.0
    )
    assert 6000 < measures["centroid_hz"] < 10_000
    assert measures["low_hz"] > 2000 and measures["high_hz"] > 9000
    assert measures["rise_ms"] < 100 and measures["fall_ms"] < 100
    if off_s - on_s > 3:
        # On a shorter sound the cells at its edges weigh on the slope.
        assert abs(measures["growth_db_per_min"]) < 15


def test_growth_is_measured():
    samples = noise(20.0, 0.001, 1) + swell(band_noise(20.0, 0.05, 3, 3000, 14_000), 2.0, 18.0)
    (draft,) = heard(samples, boil=TREBLE)
    assert draft.sound == "boil"
    # 40 dB in 16 s.
    assert draft.measures["growth_db_per_min"] == pytest.approx(150.0, rel=0.2)


def test_a_sound_that_fills_the_clip_is_open():
    (draft,) = heard(jet(-1.0, 99.0), hiss=("", 3.0, 0.0))
    assert draft.open_start and draft.open_end and (draft.onset_s, draft.offset_s) == (0.0, DURATION_S)
    assert draft.probability == pytest.approx(1 / (1 + np.exp(-3.0)), abs=1e-6)


def test_there_at_the_start_and_ends():
    (draft,) = heard(jet(-1.0, 5.0), hiss=TREBLE)
    assert draft.open_start and not draft.open_end
    assert draft.offset_s == pytest.approx(5.0, abs=0.2)


@pytest.mark.parametrize("high_hz, words", [(2400, set()), (3400, {"blast"}), (14_000, {"blast"})])
def test_a_blast_is_broad_and_a_telephone_leaves_it_broad_enough(high_hz, words):
    samples = noise(DURATION_S, 0.001, 1) + within(band_noise(DURATION_S, 0.1, 2, 500, high_hz), 4.0, 9.0)
    always = ("rise_800_1k6_db", 6.0, 2.0)
    assert {d.sound for d in heard(samples, blast=always)} == words


def test_sudden_is_a_blast_and_slow_is_a_hiss():
    (sudden,) = heard(jet(4.0, 9.0), blast=TREBLE)
    assert sudden.sound == "blast" and sudden.measures["rise_ms"] <= 200
    slow = noise(DURATION_S, 0.001, 1) + swell(
        within(band_noise(DURATION_S, 0.03, 2, 3000, 14_000), 2.0, 10.0), 2.0, 7.0
    )
    found = heard(slow, blast=TREBLE)
    assert {d.sound for d in found} == {"hiss"}


def test_long_bursts_are_none():
    assert heard(jet(3.0, 9.0), burst=TREBLE) == []
    (draft,) = heard(jet(5.0, 6.2), burst=TREBLE)
    assert draft.sound == "burst" and "decay_ms" in draft.measures


def test_too_short_to_be_what_it_is_called():
    assert heard(jet(5.0, 6.0), fan=TREBLE, boil=TREBLE) == []


def test_the_model_has_the_say():
    assert heard(jet(3.0, 8.0), hiss=("", NO, 0.0)) == []


def test_several_at_once():
    found = heard(jet(3.0, 8.0), hiss=TREBLE, speech=TREBLE, water_flow=TREBLE)
    assert {d.sound for d in found} == {"hiss", "speech", "water_flow"}


def test_hiss_blast_and_burst_exclude_each_other():
    sure, unsure = (
        Draft("hiss", 1.0, 5.0, 0.9, {"level_db": 20.0}),
        Draft("burst", 2.0, 4.0, 0.6, {"level_db": 20.0}),
    )
    other = Draft("speech", 1.0, 5.0, 0.6, {"level_db": 20.0})
    assert _settle([unsure, sure, other]) == [sure, other]
    later = Draft("burst", 6.0, 7.0, 0.6, {"level_db": 20.0})
    assert _settle([later, sure]) == [sure, later]


@pytest.mark.parametrize("duration_s", [0.5, 1.0, 1.5])
def test_short_clips_do_not_crash(duration_s):
    for draft in heard(
        noise(duration_s, 0.05, 1), hiss=("", 3.0, 0.0), boil=("", 3.0, 0.0), burst=("", 3.0, 0.0)
    ):
        assert 0.0 <= draft.onset_s < draft.offset_s <= duration_s + 1e-9


def test_what_runs_evenly_is_followed_while_its_level_stays():
    level = np.array([-60.0, -41, -40, -40, -40, -41, -40, -55])
    p = np.array([0.5, 0.1, 0.1, 0.6, 0.6, 0.1, 0.01, 0.5])
    # To the left until the level falls, to the right until the model rules it out.
    assert _followed(level, p, 3, 5) == (1, 6)
    assert _followed(level, p, 3, 4) == (1, 6)
    assert _followed(np.full(4, -40.0), np.full(4, 0.5), 0, 4) == (0, 4)


def test_what_is_left_of_a_clip_at_the_same_level_belongs_to_what_ran_evenly_before_it():
    level = np.full(40, -40.0)
    p = np.array([0.0] * 5 + [0.5] * 30 + [0.0] * 5)
    assert _followed(level, p, 5, 35) == (0, 40)
    # Not where it grew quieter or louder, and not where more than a moment is left.
    assert _followed(np.where(np.arange(40) < 35, -40.0, -34.0), p, 5, 35) == (0, 35)
    assert _followed(level, np.array([0.0] * 12 + [0.5] * 16 + [0.0] * 12), 12, 28) == (12, 28)


def test_being_followed_makes_a_sound_no_less_sure():
    p = np.array([0.1, 0.1, 0.7, 0.8, 0.1, 0.1])
    assert _surest(p, 2, 4) == pytest.approx(0.8) and _surest(p, 0, 6) < 0.6


def test_gravel_ends_where_the_release_of_its_pump_begins():
    def end(release_s):
        gravel = Draft("gravel", 3.0, 9.8, 0.9, open_end=True)
        _ended_by_releases([gravel, Draft("burst", release_s, release_s + 0.8, 0.8)])
        return gravel.offset_s

    assert end(9.1) == 9.1
    assert end(6.0) == end(11.0) == 9.8


def test_a_faint_jet_within_plain_gravel_is_the_gravels_own():
    gravel = Draft("gravel", 4.9, 20.2, 0.98, {"level_db": 23.0, "roughness": 12.0})

    def words(probability, onset_s=5.0):
        jet = Draft("hiss", onset_s, onset_s + 2.1, probability, {"level_db": 12.0, "rise_ms": 40.0})
        return {d.sound for d in _settle([gravel, jet])}

    assert words(0.53) == {"gravel"}
    assert words(0.9) == words(0.53, onset_s=19.0) == {"gravel", "hiss"}


def test_a_jet_within_an_arc_that_is_as_plain_is_the_arcs_own():
    arc = Draft("arcing", 4.9, 8.0, 0.8, {"level_db": 30.0})

    def words(probability, offset_s=8.0):
        jet = Draft(
            "blast", 4.9, offset_s, probability, {"level_db": 30.0, "rise_ms": 40.0, "high_hz": 9000.0}
        )
        return {d.sound for d in _settle([arc, jet])}

    assert words(0.7) == {"arcing"}
    assert words(0.95) == words(0.7, offset_s=14.0) == {"arcing", "blast"}


@pytest.mark.parametrize(
    ("sound", "early"), [("arcing", True), ("splutter", True), ("gravel", False), ("scrape", False)]
)
def test_a_word_that_nothing_else_is_given_counts_from_less(sound, early):
    drafts = heard(noise(DURATION_S, 0.01, 1), **{sound: ("", logit_of(0.25), 0.0)})
    assert [d.sound for d in drafts if d.probability >= 0.5] == ([sound] if early else [])


@pytest.mark.parametrize(("around_rms", "counts"), [(0.0011, True), (0.05, False)])
def test_what_tells_early_and_lies_far_under_its_surroundings_is_a_trifle(around_rms, counts):
    """A quarter of a word for arcs where the treble is not up: a drip behind a pump that was far louder."""
    around = noise(DURATION_S, around_rms, 2)
    samples = noise(DURATION_S, 0.001, 1) + around - within(around, 5.0, 8.0)
    drafts = heard(samples, arcing=("rise_5k_8k_db", -1.1, -1.0))
    assert bool([d for d in drafts if d.sound == "arcing"]) is counts


@pytest.mark.parametrize(
    ("p", "other", "n", "heard"),
    [
        (0.12, 0.08, 60, True),
        (0.12, 0.2, 60, False),
        (0.12, 0.08, 30, False),
        (0.09, 0.02, 30, True),
        (0.09, 0.02, 20, False),
    ],
)
def test_water_that_goes_on_faintly_is_told_by_its_length(p, other, n, heard):
    track = np.column_stack([np.full(n, p), np.full(n, other)])
    assert bool(_lasting(track, [0], "water_flow")) is heard
    assert _lasting(track, [0], "gravel") == []


@pytest.mark.parametrize(
    ("onset_s", "offset_s", "over_quiet_db", "kept"),
    [(3.0, 20.0, 0.0, True), (3.0, 6.0, 20.0, False), (0.0, 20.0, 1.0, False), (1.0, 20.0, 20.0, True)],
)
def test_a_release_does_not_end_the_jet_that_goes_on_behind_it(onset_s, offset_s, over_quiet_db, kept):
    """What was there before is the room's, unless it joined the clip; what stops soon after is the release itself."""
    release = Draft("burst", 3.1, 3.6, 1.0, {"level_db": 20.0, "decay_ms": 200.0})
    measures = {"level_db": 15.0, "rise_ms": 1200.0, "over_quiet_db": over_quiet_db}
    jet = Draft("hiss", onset_s, offset_s, 0.6, measures)
    assert (jet in _settle([release, jet])) is kept


def test_a_jet_breaks_out_where_the_model_becomes_sure_of_it():
    """Before it, heating may sound a little like one; the step that tells how suddenly it came lies later."""
    duration_s, at_s = 14.0, 8.0
    heating = band_noise(duration_s, 0.004, 3, 3000, 14_000)
    samples = noise(duration_s, 0.001, 1) + within(heating, 4.0, at_s)
    samples = samples + within(band_noise(duration_s, 0.08, 2, 800, 14_000), at_s, duration_s)
    drafts = heard(samples, blast=("rise_5k_8k_db", 12.0, 0.2))
    jets = [d for d in drafts if d.sound in ("blast", "hiss")]
    assert [d.sound for d in jets] == ["blast"]
    assert jets[0].onset_s == pytest.approx(at_s, abs=0.2)


def test_what_the_model_is_sure_of_is_not_lost_to_a_step_beside_it():
    """Crockery just before an arc has the higher edges."""
    duration_s = 12.0
    levels = LevelTracks(
        collect(noise(duration_s, 0.001, 1) + within(band_noise(duration_s, 0.1, 2, 800, 14_000), 4.0, 4.2))
    )
    features = levels.features
    segments = segment_textures(features, comb_tracks(features.lines, estimate_mains(features.lines)))
    first, stop = (int(np.searchsorted(segments.starts_s, at_s)) for at_s in (3.0, 4.2))
    p = np.zeros(len(segments.values))
    p[first:stop] = 0.8
    draft = _bounded("arcing", levels, segments, p, first, stop)
    assert draft is not None and 3.3 < draft.onset_s < 3.8 and draft.duration_s >= 0.5
    assert _bounded("arcing", levels, segments, p / 2, first, stop) is None


@pytest.mark.parametrize(
    ("p", "level_db", "word"),
    [(0.97, 8.0, "blast"), (0.97, 4.0, "hiss"), (0.7, 8.0, "hiss"), (0.7, 12.0, "blast")],
)
def test_a_jet_that_the_model_is_sure_of_is_a_blast_from_less(p, level_db, word):
    jet = Draft("blast", 2.0, 11.0, p, {"level_db": level_db, "rise_ms": 48.0, "high_hz": 12_000.0})
    assert [d.sound for d in _settle([jet])] == [word]


@pytest.mark.parametrize(("onset_s", "p", "kept"), [(5.1, 0.69, False), (5.1, 0.95, True), (7.0, 0.8, True)])
def test_a_jet_that_begins_with_gravel_as_plain_is_the_gravels_own(onset_s, p, kept):
    gravel = Draft("gravel", 5.0, 19.5, 0.88, {"level_db": 18.0})
    jet = Draft("hiss", onset_s, 11.3, p, {"level_db": 26.0, "rise_ms": 48.0})
    assert (jet in _settle([gravel, jet])) is kept
