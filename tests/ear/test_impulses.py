"""Clicks, trains, thumps and clatter on synthetic clicks, with a model part whose answer is known."""

import numpy as np
import pytest

from listen.ear.click_trains import CLICK_FROM, TRAIN_RATE_HZ
from listen.ear.impulses import _SURE_CLICK, hear_impulses
from listen.features.around import STROKE_INPUTS
from tests.support.heads import NO, linear_head, logit_of, onset_head
from tests.support.signals import RATE_HZ, band_noise, click, collect, noise, put, within

CLICKS = onset_head(click=3.0)
#: Time constant of a body that rings on, s.
RINGS_S = 0.04
#: Half-way between 'a click, if it falls back' and 'a click in any case'.
LEANS = onset_head(click=logit_of(0.5 * (CLICK_FROM + _SURE_CLICK)))


def clicks_at(times_s, duration_s=6.0, seed=1, amplitude=0.25, alike=False):
    """A quiet room with clicks; `alike` when one part makes them all."""
    out = noise(duration_s, 0.001, seed)
    for n, at_s in enumerate(times_s):
        out = put(out, click(amplitude, 100 * seed + (0 if alike else n)), at_s)
    return out


def knocks_at(times_s, duration_s=6.0, amplitude=0.25):
    """A quiet room with knocks on something that rings on."""
    out = noise(duration_s, 0.001, 1)
    for n, at_s in enumerate(times_s):
        out = put(out, click(amplitude, n, RINGS_S), at_s)
    return out


def heard(samples, head=CLICKS, edges_s=(), begins_s=()):
    return sorted(hear_impulses(collect(samples), head, edges_s, begins_s)[0], key=lambda d: d.onset_s)


def words(drafts):
    return [d.sound for d in drafts]


def test_single_clicks():
    times = (1.0, 2.2, 4.7)
    drafts = heard(clicks_at(times))
    assert words(drafts) == ["click"] * 3
    np.testing.assert_allclose([d.onset_s for d in drafts], times, atol=0.003)
    for draft in drafts:
        # What the model gives to a thump or a bang is the click's too: these are over at once.
        assert draft.probability == pytest.approx(1 / (1 + np.exp(-3.0)) + 2 / (1 + np.exp(-NO)), abs=1e-6)
        assert draft.measures["level_db"] > 25
        assert 3 < draft.measures["decay_ms"] < 40 and 1000 < draft.measures["centroid_hz"] < 12_000
        assert draft.duration_s == pytest.approx(max(0.01, draft.measures["decay_ms"] / 1000), abs=1e-6)


def test_silence_gives_nothing():
    assert heard(np.zeros(64_000)) == []


def test_the_model_has_the_say():
    assert heard(clicks_at((1.0, 3.0)), onset_head(click=-1.0)) == []
    assert words(heard(knocks_at((1.0, 3.0)), onset_head(click=-1.0, thump=2.0))) == ["thump", "thump"]
    # What is called speech or other is left to the textures.
    assert heard(clicks_at((1.0, 3.0)), onset_head(speech=2.0)) == []


def test_a_hard_and_loud_knock_is_a_bang():
    knocks = put(clicks_at(()), click(0.5, 1, RINGS_S), 2.0)
    assert words(heard(knocks, onset_head(bang=1.0))) == ["bang"]
    assert words(heard(knocks, onset_head(bang=-1.5, thump=0.5))) == ["thump"]
    # In doubt a loud one is what can call for a stop.
    assert words(heard(knocks, onset_head(bang=-0.5, thump=0.0))) == ["bang"]
    # Between the two it is still one of them; a faint one is no bang.
    assert words(heard(knocks, onset_head(bang=-0.4, thump=-0.6))) == ["bang"]
    faint = put(clicks_at(()), click(0.008, 1, RINGS_S), 2.0)
    assert words(heard(faint, onset_head(bang=1.0))) == ["thump"]


def test_over_a_floor_that_the_phone_took_away_a_stroke_is_a_click_where_something_starts():
    """No word of the model is sure of it: alone it is a bang, rather too much than passed over."""
    knock = put(noise(6.0, 1e-5, 1), click(0.5, 1, RINGS_S), 2.0)
    unsure = onset_head(click=-1.0, bang=-3.0, other=0.5)
    assert words(heard(knock, unsure)) == ["bang"]
    # A pump starts with it, or heating grows out of it within a second.
    assert words(heard(knock, unsure, edges_s=(2.2,))) == ["click"]
    assert words(heard(knock, unsure, begins_s=(2.7,))) == ["click"]
    assert words(heard(knock, unsure, edges_s=(2.7,), begins_s=(3.5,))) == ["bang"]
    # What the model is sure is no stroke is none: the start of a pump itself.
    assert words(heard(knock, onset_head(click=-3.0, other=4.0))) == []


def test_what_is_over_at_once_is_a_click_however_loud_the_model_takes_it_for_a_knock():
    assert words(heard(clicks_at((1.0, 3.0)), onset_head(click=-3.0, thump=-1.0, bang=1.0))) == [
        "click",
        "click",
    ]
    assert words(heard(knocks_at((1.0, 3.0)), onset_head(click=-3.0, thump=-1.0, bang=1.0))) == [
        "bang",
        "bang",
    ]


def test_what_the_model_is_sure_of_is_a_bang_though_it_is_over_at_once():
    sure = onset_head(click=-3.0, thump=-3.0, bang=3.0)
    assert words(heard(clicks_at((1.0, 3.0)), sure)) == ["bang", "bang"]
    # Not where it takes a click to be likely as well.
    assert words(heard(clicks_at((1.0, 3.0)), onset_head(click=0.0, thump=-3.0, bang=3.0))) == [
        "click",
        "click",
    ]


def test_a_knock_as_high_as_can_be_told_is_a_bang_from_less():
    loud, less = (put(noise(6.0, rms, 1), click(0.5, 1, RINGS_S), 2.0) for rms in (2e-4, 0.012))
    rather_a_thump = onset_head(click=-3.0, thump=0.3, bang=-1.1)
    assert words(heard(loud, rather_a_thump)) == ["bang"]
    assert words(heard(less, rather_a_thump)) == ["thump"]


def test_a_model_that_knows_clicks_only_is_enough():
    few = linear_head(STROKE_INPUTS, {"click": ("", 3.0, 0.0), "other": ("", NO, 0.0)})
    assert words(heard(clicks_at((1.0, 3.0)), few)) == ["click", "click"]
    assert (
        heard(
            clicks_at((1.0, 3.0)),
            linear_head(STROKE_INPUTS, {"click": ("", NO, 0.0), "other": ("", 2.0, 0.0)}),
        )
        == []
    )


def test_a_step_is_no_click_unless_the_model_is_sure():
    samples = noise(4.0, 0.001, 1) + within(band_noise(4.0, 0.05, 2, 1000, 14_000), 1.5, 3.5)
    assert "click" not in words(heard(samples, LEANS))
    # The same onset with a peak of its own is one.
    assert words(heard(put(samples, click(0.6, 3), 1.49), LEANS)) == ["click"]


@pytest.mark.parametrize("apart_s, expected", [(0.02, 1), (0.035, 1), (0.06, 2), (0.12, 2)])
def test_relay_and_valve_together_are_one_command(apart_s, expected):
    """Within 40 ms one, from 60 ms on two (operate times of small relays and valves, from memory)."""
    assert words(heard(clicks_at((2.0, 2.0 + apart_s)))) == ["click"] * expected


@pytest.mark.parametrize("rate_hz", [4, 8, 15, 25])
def test_click_train(rate_hz):
    times = np.arange(2.0, 4.0, 1 / rate_hz)
    drafts = heard(clicks_at(times, alike=True))
    assert words(drafts) == ["click_train"]
    train = drafts[0]
    assert train.onset_s == pytest.approx(2.0, abs=0.05) and train.offset_s == pytest.approx(
        times[-1], abs=0.1
    )
    assert train.measures["rate_hz"] == pytest.approx(rate_hz, rel=0.05)
    assert train.measures["count"] == pytest.approx(len(times), abs=1)
    assert train.measures["regularity"] > 0.9 and train.probability > 0.8


def test_uneven_train_is_less_regular():
    rng = np.random.default_rng(4)
    times = 2.0 + np.cumsum(rng.uniform(0.05, 0.2, 16))
    drafts = heard(clicks_at(times, alike=True))
    assert "click_train" in words(drafts)
    train = next(d for d in drafts if d.sound == "click_train")
    assert 0.3 < train.measures["regularity"] < 0.85
    assert "click" not in words(drafts)


def test_a_train_beside_lone_clicks():
    times = [0.5, *np.arange(2.0, 3.5, 0.1), 5.0]
    assert words(heard(clicks_at(times, alike=True))) == ["click", "click_train", "click"]


@pytest.mark.parametrize("rate_hz", [1.0, 2.0])
def test_slow_clicks_are_no_train(rate_hz):
    assert rate_hz < TRAIN_RATE_HZ[0]
    drafts = heard(clicks_at(np.arange(1.0, 5.5, 1 / rate_hz)))
    assert set(words(drafts)) == {"click"}


def test_a_slow_train_keeps_no_time():
    """A relay that drops out again and again, three times a second, does so unevenly (common practice)."""
    times = 1.0 + np.cumsum((0.0, 0.3, 0.45, 0.25, 0.5, 0.3, 0.28, 0.42))
    (train,) = heard(clicks_at(times, alike=True))
    assert train.sound == "click_train" and train.measures["count"] == 8
    assert train.measures["rate_hz"] == pytest.approx(3.3, abs=0.2)
    # So do beans, but each in its own way.
    assert "click_train" not in words(heard(clicks_at(times[:5], alike=True)))


def test_a_train_under_a_voice_rises_from_here_and_from_there():
    times = 1.0 + np.arange(12) * 0.25
    voiced = clicks_at(times, alike=True)
    for n, at_s in enumerate(times):
        if n % 3:
            voiced += within(band_noise(6.0, 0.02 * n / 12, n, 500, 3000), at_s - 0.1, at_s + 0.1)
    assert words(heard(voiced)) == ["click_train"]


@pytest.mark.parametrize(("amplitude", "named"), [(0.6, ["bang"]), (0.02, [])])
def test_a_very_loud_stroke_that_the_model_has_no_word_for_is_not_passed_over(amplitude, named):
    nothing = onset_head(click=NO, other=0.4)
    assert words(heard(knocks_at([3.0], amplitude=amplitude), nothing)) == named


def test_five_clicks_are_no_train():
    drafts = heard(clicks_at(np.arange(2.0, 2.99, 0.2)))
    assert words(drafts) == ["click"] * 5


def test_a_crowd_of_unlike_clicks_is_clatter():
    rng = np.random.default_rng(7)
    samples = noise(6.0, 0.001, 8)
    for n, at_s in enumerate(2.0 + np.cumsum(rng.uniform(0.045, 0.12, 14))):
        samples = put(
            samples, click(0.5 * 10 ** (-rng.uniform(0, 36) / 20), n, rng.uniform(0.002, 0.01)), at_s
        )
    drafts = heard(samples)
    assert "clatter" in words(drafts) and "click_train" not in words(drafts)
    assert words(drafts).count("click") <= 3


def test_clicks_that_keep_no_time_for_long_are_something_knocked_about():
    gaps = (0.9, 0.35, 0.3, 1.1, 0.32, 0.38, 0.95, 0.34, 0.31)
    drafts = heard(clicks_at(1.0 + np.cumsum((0.0, *gaps)), duration_s=8.0))
    assert "clatter" in words(drafts) and words(drafts).count("click") <= 4
    # A valve that is switched by hand as often is switched evenly.
    even = heard(clicks_at(1.0 + np.cumsum((0.0, *([0.5, 0.6] * 4))), duration_s=8.0))
    assert words(even) == ["click"] * 9


def test_where_something_starts_a_doubtful_stroke_is_a_click():
    doubtful = onset_head(click=0.0)
    assert heard(clicks_at((2.0, 4.0)), doubtful) == []
    (draft,) = heard(clicks_at((2.0, 4.0)), doubtful, edges_s=(2.2,))
    assert draft.sound == "click" and draft.onset_s == pytest.approx(2.0, abs=0.003)
    # Half a second before it is too long, and behind it nothing switches.
    assert heard(clicks_at((1.6, 2.5)), doubtful, edges_s=(2.2,)) == []
    # What may be a bang is not made a click by that.
    assert words(heard(knocks_at((2.0,)), onset_head(click=0.0, bang=0.5), edges_s=(2.2,))) == ["bang"]


def test_a_few_strokes_that_may_be_clicks_and_keep_no_time_are_a_crowd_too():
    gaps = (0.6, 0.2, 0.25, 0.7)
    times = 1.0 + np.cumsum((0.0, *gaps))
    drafts = heard(clicks_at(times))
    assert "click" not in words(drafts) and "clatter" in words(drafts)
    # At an edge a click stays one, and lone clicks do.
    assert words(heard(clicks_at(times), edges_s=(times[-1] + 0.1,))).count("click") == 1
    assert words(heard(clicks_at(times[:4]))) == ["click"] * 4


def test_a_knock_that_grows_for_some_milliseconds_is_as_loud_as_all_of_it():
    rate = RATE_HZ
    t = np.arange(round(0.25 * rate)) / rate
    swells = 0.5 * np.minimum(t / 0.03, 1.0) ** 2 * np.exp(-t / RINGS_S)
    samples = put(clicks_at(()), swells * np.random.default_rng(3).uniform(-1, 1, len(t)), 2.0)
    drafts = [d for d in heard(samples, onset_head(bang=0.3, thump=0.5)) if abs(d.onset_s - 2.0) < 0.1]
    assert words(drafts)[:1] == ["bang"] and drafts[0].measures["level_db"] >= 30.0


def test_clatter_is_joined():
    drafts = heard(clicks_at((1.0, 1.3, 1.6, 4.5)), onset_head(clatter=3.0))
    assert words(drafts) == ["clatter", "clatter"]
    assert drafts[0].onset_s == pytest.approx(1.0, abs=0.01) and 1.6 < drafts[0].offset_s < 1.75


def test_drips_need_three():
    head = onset_head(drip=3.0)
    assert heard(clicks_at((1.0, 2.0)), head) == []
    drafts = heard(clicks_at((1.0, 2.0, 3.0, 4.0, 5.0)), head)
    assert words(drafts) == ["drip"]
    assert drafts[0].measures["rate_hz"] == pytest.approx(1.0, abs=0.05)
    # It drips until the next drop would have fallen.
    assert drafts[0].offset_s == pytest.approx(6.0, abs=0.1)


def far_knock(rings_s=0.25, amplitude=0.3):
    """A knock across a room that fills up behind it and rings on."""
    return put(noise(6.0, 0.001, 1), click(amplitude, 1, rings_s), 2.0)


def test_a_loud_stroke_that_rings_on_is_a_knock_though_the_model_takes_it_for_a_click():
    head = onset_head(click=0.7, bang=-1.0, thump=-2.0)
    named = [d for d in heard(far_knock(), head) if abs(d.onset_s - 2.0) < 0.1]
    assert words(named)[:1] == ["bang"] and named[0].probability >= 0.5
    # Where something starts it may be the valve's, and what starts rings on.
    begun = heard(far_knock(), head, edges_s=(2.1,))
    assert "bang" not in words(d for d in begun if abs(d.onset_s - 2.0) < 0.1)


@pytest.mark.parametrize("amplitude, sure", [(0.6, 0.6), (0.01, 0.36)])
def test_the_louder_a_stroke_the_less_sure_its_kind_need_be(amplitude, sure):
    """Click, thump and bang together make three fifths: too little for a faint one."""
    head = onset_head(click=logit_of(0.24), thump=logit_of(0.31), bang=logit_of(0.05))
    (named,) = heard(knocks_at((2.0,), amplitude=amplitude), head)
    assert named.sound == "thump" and named.probability == pytest.approx(sure, abs=0.01)


def test_a_very_loud_stroke_that_lasts_is_no_click_where_nothing_starts():
    """Its model hardly prefers the click; a valve so loud would be over at once."""
    unsure = onset_head(click=0.2, thump=-1.7, bang=-0.7)
    loud = knocks_at([3.0], amplitude=0.9)
    assert words(heard(loud, unsure)) == ["bang"]
    assert words(heard(loud, unsure, edges_s=(3.0,))) == ["click"]
    assert words(heard(knocks_at([3.0], amplitude=0.02), unsure)) == ["click"]
