"""The ear composed: overlaps settled, events ordered, numbered and kept inside the clip."""

import numpy as np
import pytest

from listen.ear.click_trains import CLICK_FROM
from listen.ear.draft import Draft, numbered
from listen.ear.events import (
    _begin_with_clicks,
    _cracking,
    _deep_inside,
    _joins_a_motor,
    _made_of_strokes,
    _no_jet,
    _of_a_train,
    listen_for_events,
)
from listen.ear.impulses import _SURE_CLICK
from listen.vocabulary import SOUNDS
from tests.support.heads import bundle_of, logit_of, onset_head, texture_head
from tests.support.signals import band_noise, click, collect, comb, noise, put, tones, within

#: Half-way between 'a click, if it falls back' and 'a click in any case'.
LEANS = onset_head(click=logit_of(0.5 * (CLICK_FROM + _SURE_CLICK)))


def brew():
    """Click, pump with its hum, click, and a discharge after it."""
    out = noise(16.0, 0.001, 1) + within(tones(16.0, comb(50.0, range(1, 16), 0.03), 2), 3.0, 10.0)
    out += within(band_noise(16.0, 0.05, 3, 2000, 12_000), 10.3, 11.5)
    for n, at_s in enumerate((2.7, 10.1)):
        out = put(out, click(0.6, n), at_s)
    return out


def test_a_brew_is_heard_in_order():
    head = texture_head(burst=("rise_5k_8k_db", 12.0, 1.0))
    # The model leans to 'click' for every onset, so that only what falls back is one.
    events, mains = listen_for_events(collect(brew()), bundle_of(head, LEANS))
    assert mains.hz == 50 and mains.source == "heard"
    assert [e.id for e in events] == [f"e{n}" for n in range(1, len(events) + 1)]
    sounds = [e.sound for e in events]
    assert sounds == ["click", "stroke_train", "click", "burst"]
    np.testing.assert_allclose([e.onset_s for e in events], [2.7, 3.0, 10.1, 10.3], atol=0.2)
    assert all(e.sound in SOUNDS for e in events)


def test_the_same_clip_gives_the_same_events():
    one, other = (listen_for_events(collect(brew()), bundle_of()) for _ in range(2))
    assert one == other


@pytest.mark.parametrize("gain_db", [-12.0, 6.0])
def test_gain_and_polarity_change_no_word(gain_db):
    plain, _ = listen_for_events(collect(brew()), bundle_of())
    turned, _ = listen_for_events(collect(-brew() * 10 ** (gain_db / 20)), bundle_of())
    assert [e.sound for e in turned] == [e.sound for e in plain]
    np.testing.assert_allclose([e.onset_s for e in turned], [e.onset_s for e in plain], atol=0.07)


def test_given_mains_stands():
    _, mains = listen_for_events(collect(noise(4.0, 0.05, 1)), bundle_of(), given_mains_hz=60)
    assert (mains.hz, mains.source, mains.measured_hz) == (60, "given", None)


def test_clicks_inside_clatter_belong_to_it():
    samples = noise(8.0, 0.001, 4)
    for n, at_s in enumerate((3.0, 4.0)):
        samples = put(samples, click(0.3, n), at_s)
    quiet, _ = listen_for_events(collect(samples), bundle_of())
    assert [e.sound for e in quiet] == ["click", "click"]
    surer = texture_head(clatter=("", 4.0, 0.0))
    inside, _ = listen_for_events(collect(samples), bundle_of(surer, onset_head(click=1.0)))
    assert [e.sound for e in inside] == ["clatter"]
    # A click that leaves no doubt stays one, whatever rattles beside it.
    plain, _ = listen_for_events(collect(samples), bundle_of(surer, onset_head(click=4.0)))
    assert sorted(e.sound for e in plain) == ["clatter", "click", "click"]
    # A hiss makes no clicks of its own.
    hiss, _ = listen_for_events(collect(samples), bundle_of(texture_head(hiss=("", 4.0, 0.0))))
    assert sorted(e.sound for e in hiss) == ["click", "click", "hiss"]


def test_squeals_inside_music_belong_to_it():
    samples = noise(8.0, 0.002, 5) + within(tones(8.0, {2000.0: 0.05}, 6), 3.0, 5.0)
    alone, _ = listen_for_events(collect(samples), bundle_of())
    assert "squeal" in [e.sound for e in alone]
    music, _ = listen_for_events(
        collect(samples), bundle_of(texture_head(music=("", 4.0, 0.0)), onset_head(click=1.0))
    )
    assert [e.sound for e in music] == ["music"]


def test_numbering_orders_and_clips_to_the_clip():
    drafts = [
        Draft("hiss", 4.0, 99.0, 0.81239, {"b_db": 1.23456, "a_hz": 2}, open_end=True),
        Draft("click", -0.2, 0.01, 0.7),
        Draft("click", 4.0, 4.01, 0.7),
    ]
    events = numbered(drafts, 10.0)
    assert [(e.id, e.sound, e.onset_s, e.offset_s) for e in events] == [
        ("e1", "click", 0.0, 0.01), ("e2", "click", 4.0, 4.01), ("e3", "hiss", 4.0, 10.0),
    ]  # fmt: skip
    assert events[2].probability == 0.812 and events[2].open_end
    assert list(events[2].measures.items()) == [("a_hz", 2.0), ("b_db", 1.235)]
    with pytest.raises(TypeError):
        events[2].measures["a_hz"] = 3.0


@pytest.mark.parametrize("duration_s", [0.0, 0.5, 0.9])
def test_short_clips_do_not_crash(duration_s):
    always = texture_head(hiss=("", 4.0, 0.0))
    events, _ = listen_for_events(collect(noise(duration_s, 0.05, 1)), bundle_of(always))
    assert all(0.0 <= e.onset_s <= e.offset_s <= duration_s for e in events)


@pytest.mark.parametrize(
    ("sound", "probability", "strokes", "doubted"),
    [
        ("water_flow", 0.6, [("click_train", 1.6, 3.9)], True),
        ("water_flow", 0.6, [("clatter", 0.5, 1.0), ("clatter", 4.0, 5.6)], True),
        ("water_flow", 0.9, [("click_train", 1.6, 3.9)], False),
        ("water_flow", 0.6, [("click_train", 8.0, 12.0), ("click", 1.0, 1.1)], False),
        ("boil", 0.6, [("click_train", 1.6, 3.9)], False),
    ],
)
def test_water_made_of_strokes_is_doubted(sound, probability, strokes, doubted):
    draft = Draft(sound, 0.0, 6.4, probability, {})
    assert _made_of_strokes(draft, [Draft(word, a, b, 0.9, {}) for word, a, b in strokes]) is doubted


BEANS_S = (1.0, 1.4, 2.0, 2.9, 3.3, 4.0, 4.2, 5.0)


@pytest.mark.parametrize(
    ("sound", "probability", "strokes_s", "word"),
    [
        ("water_flow", 0.6, BEANS_S, "grinder"),
        # A splash now and then is water's own.
        ("water_flow", 0.6, BEANS_S[::2], "water_flow"),
        ("water_flow", 0.9, BEANS_S, "water_flow"),
        ("boil", 0.6, BEANS_S, "boil"),
    ],
)
def test_what_cracks_again_and_again_in_running_water_is_a_grinder(sound, probability, strokes_s, word):
    draft = _cracking(Draft(sound, 0.5, 6.0, probability, {}), np.array(strokes_s), [])
    assert draft.sound == word


@pytest.mark.parametrize(("ends_s", "word"), [(0.6, "water_flow"), (3.0, "grinder")])
def test_no_grinder_starts_at_the_moment_a_pump_stops(ends_s, word):
    """What the pump hid is heard from its end on (common practice: who ends a brew stands at the group, not at the grinder)."""
    pump = Draft("motor_run", 0.0, ends_s, 0.9)
    assert _cracking(Draft("water_flow", 0.5, 6.0, 0.6, {}), np.array(BEANS_S), [pump]).sound == word


@pytest.mark.parametrize(
    ("sound", "probability", "at_s", "inside"),
    [
        ("bang", 0.5, 5.0, True), ("bang", 0.6, 5.0, False), ("bang", 0.5, 9.5, False),
        ("click", 0.6, 5.0, True), ("click", 0.95, 5.0, False), ("thump", 0.4, 5.0, False),
    ],
)  # fmt: skip
def test_a_stroke_that_is_hardly_named_in_the_midst_of_gravel_is_one_of_its_pops(
    sound, probability, at_s, inside
):
    gravel = Draft("gravel", 2.0, 9.0, 0.9)
    assert _deep_inside(Draft(sound, at_s, at_s + 0.1, probability), [gravel]) is inside


GRINDER = Draft("grinder", 3.0, 9.0, 0.8)
COIL = Draft("mains_hum", 2.9, 9.2, 0.9)


@pytest.mark.parametrize(
    ("probability", "level_db", "noises", "tones_", "dropped"),
    [
        (0.6, 20.0, [GRINDER], [], True),
        (0.6, 20.0, [], [COIL], True),
        (0.6, 1.0, [], [], True),
        (0.6, 20.0, [], [], False),
        (0.75, 20.0, [GRINDER], [], True),
        (0.65, 1.0, [], [], True),
        (0.85, 1.0, [GRINDER], [COIL], False),
        (0.6, 20.0, [], [Draft("mains_hum", 2.9, 14.0, 0.9)], False),
        (0.6, 20.0, [], [Draft("mains_hum", 2.9, 9.2, 0.9, edge_start=False)], False),
    ],
)
def test_a_jet_that_no_second_vouches_for_may_be_something_else(
    probability, level_db, noises, tones_, dropped
):
    jet = Draft("hiss", 3.0, 9.0, probability, {"level_db": level_db})
    assert _no_jet(jet, [jet, *noises], tones_) is dropped


@pytest.mark.parametrize(
    ("grinder", "dropped"),
    [
        ((3.0, 6.0, 0.75), True),
        ((3.0, 6.0, 0.6), False),
        ((1.0, 6.0, 0.95), False),
        # One that outlasts it must be far surer.
        ((3.0, 9.0, 0.95), True),
        ((3.0, 9.0, 0.75), False),
    ],
)
def test_a_blast_that_begins_with_a_surer_grinder_is_the_grinders(grinder, dropped):
    blast = Draft("blast", 3.02, 5.98, 0.7, {"level_db": 40.0})
    ground = Draft("grinder", *grinder, {"level_db": 20.0})
    assert _no_jet(blast, [blast, ground], []) is dropped


@pytest.mark.parametrize(
    ("sound", "onset_s", "offset_s", "probability", "its_own"),
    [
        ("blast", 1.6, 6.4, 0.9, True),
        ("hiss", 1.6, 6.4, 0.9, True),
        ("blast", 1.6, 12.0, 0.9, False),
        ("arcing", 3.0, 5.0, 0.6, True),
        ("arcing", 3.0, 5.0, 0.9, False),
        ("arcing", 6.0, 9.0, 0.6, False),
        ("water_flow", 1.6, 6.4, 0.6, False),
    ],
)
def test_what_begins_and_ends_with_chattering_is_its_own_noise(
    sound, onset_s, offset_s, probability, its_own
):
    train = Draft("click_train", 1.5, 6.5, 0.97)
    assert _of_a_train(Draft(sound, onset_s, offset_s, probability), [train], []) is its_own


@pytest.mark.parametrize(("probability", "its_own"), [(0.55, True), (0.9, False)])
def test_an_arc_that_is_hardly_named_where_it_drips_is_the_drops(probability, its_own):
    drips = Draft("drip", 1.5, 6.5, 0.97)
    assert _of_a_train(Draft("arcing", 2.0, 4.0, probability), [drips], []) is its_own


@pytest.mark.parametrize(
    ("gravel_p", "probability", "its_own"), [(0.95, 0.6, True), (0.95, 0.9, False), (0.6, 0.6, False)]
)
def test_an_arc_that_is_hardly_named_in_plain_gravel_is_the_gravels(gravel_p, probability, its_own):
    """Both crackle."""
    gravel = Draft("gravel", 1.5, 6.5, gravel_p)
    assert _of_a_train(Draft("arcing", 2.0, 4.0, probability), [], [gravel]) is its_own


@pytest.mark.parametrize(
    ("motor_s", "click_s", "begins_s"), [(2.0, 2.3, 2.38), (2.0, 2.9, 2.0), (2.0, 1.8, 2.0), (2.0, 4.9, 2.0)]
)
def test_a_motor_begins_no_earlier_than_its_click(motor_s, click_s, begins_s):
    motor = Draft("motor_run", motor_s, 5.0, 0.9)
    _begin_with_clicks([motor], [Draft("click", click_s, click_s + 0.01, 0.9)])
    assert motor.onset_s == pytest.approx(begins_s)


FRIDGE = Draft("motor_run", 0.0, 30.0, 0.97, open_start=True, open_end=True)


@pytest.mark.parametrize(
    ("arc_s", "click", "tones_", "a_pump"),
    [
        (2.8, (2.7, 0.97), [FRIDGE], True),
        (3.4, (2.7, 0.97), [FRIDGE], False),
        (2.8, (2.7, 0.6), [FRIDGE], False),
        (2.8, (2.7, 0.97), [], False),
        (2.8, (2.7, 0.97), [Draft("motor_run", 5.0, 30.0, 0.97)], False),
    ],
)
def test_what_rises_with_a_click_beside_a_motor_is_a_pump_that_starts(arc_s, click, tones_, a_pump):
    """A louder motor hides its lines, and its noise joins that motor's as an arc's would."""
    at_s, p = click
    stroke = Draft("click", at_s, at_s + 0.01, p)
    assert _joins_a_motor(Draft("arcing", arc_s, 8.0, 0.6), tones_, [stroke]) is a_pump
