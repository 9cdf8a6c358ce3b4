"""Counting by the rules: tolerances, don't-care, and the published reference implementation as oracle."""

import numpy as np
import pytest

from listen.errors import KnowledgeError
from listen.learn.score import load_rules
from listen.learn.score.events import count_all, score_events
from listen.learn.score.match import count_sound, pair_up
from listen.vocabulary import SOUNDS
from tests.learn_score.made import clip, event, label, random_pairs

RULES = load_rules()


def counts(sound, labels, events, **more):
    c = count_sound(sound, clip(labels, **more), events, RULES)
    return c.hits, c.misses, c.false


def container(rows, name, length_s=None):
    import dcase_util

    return dcase_util.containers.MetaDataContainer(
        [
            {"event_label": x.sound, "event_onset": x.onset_s, "event_offset": x.offset_s, "file": name, "filename": name}
            for x in rows
        ]
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "sound, jitter_s, length_s",
    [("click", 0.04, (0.01, 0.05)), ("hiss", 0.12, (0.4, 6.0)), ("motor_run", 0.3, (1.0, 6.0))],
)
def test_events_are_counted_as_the_reference_counts_them(sound, jitter_s, length_s, seed):
    """sed_eval's event-based metrics (Mesaros, Heittola, Virtanen, Applied Sciences 6 (2016) 162), optimal matching."""
    sed_eval = pytest.importorskip("sed_eval")
    spans = RULES.kind[sound] == "span"
    theirs = sed_eval.sound_event.EventBasedMetrics(
        event_label_list=[sound], t_collar=RULES.onset_s[RULES.kind[sound]], percentage_of_length=RULES.offset_share,
        evaluate_onset=True, evaluate_offset=spans, event_matching_type="optimal",
    )  # fmt: skip
    ours = [0, 0, 0]
    for truth, answer in random_pairs(sound, seed, jitter_s=jitter_s, length_s=length_s):
        theirs.evaluate(container(truth.labels, truth.name), container(answer.events, truth.name))
        c = count_sound(sound, truth, answer.events, RULES)
        ours = [a + b for a, b in zip(ours, (c.hits, c.misses, c.false), strict=True)]
    their = theirs.results_class_wise_metrics()[sound]
    hits, misses, false = ours
    assert hits > 8 and misses > 5 and false > 5
    assert hits + misses == their["count"]["Nref"] and hits + false == their["count"]["Nsys"]
    assert 2 * hits / (2 * hits + misses + false) == pytest.approx(their["f_measure"]["f_measure"], abs=1e-12)
    assert hits / (hits + false) == pytest.approx(their["f_measure"]["precision"], abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_segments_are_counted_as_the_reference_counts_them(seed):
    """sed_eval's segment-based metrics with segments of 1 s."""
    sed_eval = pytest.importorskip("sed_eval")
    theirs = sed_eval.sound_event.SegmentBasedMetrics(
        event_label_list=["boil"], time_resolution=RULES.segment_s
    )
    ours = [0, 0, 0]
    for truth, answer in random_pairs("boil", seed, jitter_s=0.7):
        theirs.evaluate(
            container(truth.labels, truth.name),
            container(answer.events, truth.name),
            evaluated_length_seconds=20.0,
        )
        c = count_sound("boil", truth, answer.events, RULES)
        ours = [a + b for a, b in zip(ours, (c.hits, c.misses, c.false), strict=True)]
    their = theirs.results_class_wise_metrics()["boil"]
    hits, misses, false = ours
    assert hits > 50 and misses > 5 and false > 5
    assert hits + misses == their["count"]["Nref"] and hits + false == their["count"]["Nsys"]
    assert hits / (hits + misses) == pytest.approx(their["f_measure"]["recall"], abs=1e-12)


def test_onsets_are_matched_as_mir_eval_matches_them():
    """mir_eval.util.match_events with its 50 ms window (as its onset task has it)."""
    mir_eval = pytest.importorskip("mir_eval")
    for truth, answer in random_pairs("click", 9, jitter_s=0.05, length_s=(0.01, 0.2)):
        pairs = mir_eval.util.match_events(
            [x.onset_s for x in truth.labels], [x.onset_s for x in answer.events], 0.05
        )
        assert count_sound("click", truth, answer.events, RULES).hits == len(pairs)


def test_tolerances():
    assert counts("click", [label("click", 1.0, 1.1)], [event("click", 1.05, 1.06)]) == (1, 0, 0)
    assert counts("click", [label("click", 1.0, 1.1)], [event("click", 1.051, 1.06)]) == (0, 1, 1)
    assert counts("hiss", [label("hiss", 1.0, 3.0)], [event("hiss", 1.2, 3.4)]) == (1, 0, 0)
    assert counts("hiss", [label("hiss", 1.0, 3.0)], [event("hiss", 1.2, 3.41)]) == (0, 1, 1)
    # A short hiss has the fixed tolerance at its end.
    assert counts("hiss", [label("hiss", 1.0, 1.5)], [event("hiss", 1.0, 1.7)]) == (1, 0, 0)
    # One to one: a sound cut in two is found once at most.
    assert counts("click", [label("click", 1.0, 1.1)], [event("click", 1.0, 1.0), event("click", 1.02, 1.02)]) == (1, 0, 1)  # fmt: skip


def test_matching_finds_the_most_pairs_not_the_first():
    labels = [label("click", 1.00, 1.01), label("click", 1.06, 1.07)]
    assert counts("click", labels, [event("click", 1.03, 1.04), event("click", 0.96, 0.97)]) == (2, 0, 0)


def test_the_surest_of_those_that_agree_is_the_hit():
    labels = [label("click", 1.0, 1.01)]
    for order in (1, -1):
        events = [
            event("click", 1.01, 1.02, 0.3),
            event("click", 0.99, 1.0, 0.8),
            event("click", 1.02, 1.03, 0.5),
        ]
        c = count_sound("click", clip(labels), events[::order], RULES)
        assert sorted(c.answers, reverse=True) == [(0.8, True), (0.5, False), (0.3, False)]


@pytest.mark.parametrize("seed", range(20))
def test_events_above_any_threshold_are_paired_as_if_alone(seed):
    """Oracle: scipy's maximum matching (Hopcroft-Karp) of the events above each threshold."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_bipartite_matching

    rng = np.random.default_rng(seed)
    agree = rng.random((12, 8)) < 0.25
    probability = np.round(rng.random(12), 1)
    partner = pair_up(agree, probability)
    assert len(set(partner[partner >= 0].tolist())) == (partner >= 0).sum()
    assert all(agree[n, at] for n, at in enumerate(partner) if at >= 0)
    for threshold in np.unique(probability):
        above = probability >= threshold
        alone = maximum_bipartite_matching(csr_array(agree[above].astype(np.int8)), perm_type="column")
        assert (partner[above] >= 0).sum() == (alone >= 0).sum()


@pytest.mark.parametrize("seed", range(3))
def test_average_precision_is_that_of_the_reference_at_every_threshold(seed):
    """sed_eval counts the events above each threshold on its own; the area is put together from its counts."""
    sed_eval = pytest.importorskip("sed_eval")
    pairs = random_pairs("hiss", seed, n_clips=5)
    mine = score_events(pairs, count_all(pairs, RULES), RULES)["sounds"]["hiss"]["average_precision"]["value"]
    area, reached = 0.0, 0.0
    for threshold in sorted({e.probability for _, h in pairs for e in h.events}, reverse=True):
        theirs = sed_eval.sound_event.EventBasedMetrics(
            event_label_list=["hiss"], t_collar=RULES.onset_s["span"], percentage_of_length=RULES.offset_share,
            evaluate_onset=True, evaluate_offset=True, event_matching_type="optimal",
        )  # fmt: skip
        for truth, answer in pairs:
            above = [e for e in answer.events if e.probability >= threshold]
            theirs.evaluate(container(truth.labels, truth.name), container(above, truth.name))
        row = theirs.results_class_wise_metrics()["hiss"]["f_measure"]
        area += row["precision"] * (row["recall"] - reached)
        reached = row["recall"]
    assert 0.1 < mine < 0.95
    assert mine == pytest.approx(area, abs=1e-4)


@pytest.mark.parametrize(
    "more, expected",
    [
        ({"snr_db": 6.0}, (0, 1, 0)), ({"snr_db": 5.9}, (0, 0, 0)), ({"snr_db": 0.0}, (0, 0, 0)), ({"snr_db": -0.1}, (0, 0, 0)),
        ({"passed_share": 0.2}, (0, 0, 0)), ({"erased": True}, (0, 0, 0)), ({"source": "background"}, (0, 0, 0)),
    ],
)  # fmt: skip
def test_only_what_stands_out_must_be_found(more, expected):
    assert counts("motor_run", [label("motor_run", 1.0, 5.0, **more)], []) == expected


def test_what_is_free_is_not_held_against_the_ear():
    faint = label("hiss", 1.0, 5.0, snr_db=3.0)
    assert counts("hiss", [faint], [event("hiss", 2.0, 6.0)]) == (0, 0, 0)
    assert counts("hiss", [faint], [event("hiss", 4.0, 9.0)]) == (0, 0, 1)
    buried = label("hiss", 1.0, 5.0, snr_db=-3.0)
    assert counts("hiss", [buried], [event("hiss", 1.0, 5.0)]) == (0, 0, 1)
    assert counts("click", [label("click", 1.0, 1.02, snr_db=2.0)], [event("click", 1.04, 1.05)]) == (0, 0, 0)
    assert counts("boil", [label("boil", 1.0, 3.0, snr_db=2.0)], [event("boil", 0.0, 4.0)]) == (0, 0, 2)


def test_a_hum_inside_a_running_motor_is_free():
    motor = label("motor_run", 1.0, 9.0)
    hum = label("mains_hum", 1.0, 9.0)
    assert counts("mains_hum", [motor, hum], []) == (0, 0, 0)
    assert counts("mains_hum", [motor], [event("mains_hum", 2.0, 4.0)]) == (0, 0, 0)
    assert counts("mains_hum", [hum], []) == (0, 1, 0)
    assert counts("motor_run", [motor, hum], [event("motor_run", 1.0, 9.0)]) == (1, 0, 0)


def test_weak_labels_hold_for_the_clip():
    whole = [label("speech", 0.0, 20.0), label("hiss", 0.0, 20.0, erased=True)]
    assert counts("speech", whole, [event("speech", 3.0, 4.0), event("speech", 8.0, 9.0)], weak=True) == (
        1,
        0,
        0,
    )
    assert counts("speech", whole, [], weak=True) == (0, 1, 0)
    assert counts("hiss", whole, [event("hiss", 3.0, 4.0)], weak=True) == (0, 0, 0)
    assert counts("click", whole, [event("click", 3.0, 3.0)] * 3, weak=True) == (0, 0, 1)


def test_touched_ignores_edges():
    c = count_sound("hiss", clip([label("hiss", 1.0, 9.0)]), [event("hiss", 4.0, 5.0)], RULES)
    assert (c.hits, c.labels, c.touched) == (0, 1, 1)


def test_every_sound_is_counted_once(tmp_path):
    assert set(RULES.kind) == set(SOUNDS) == {s for words in RULES.families.values() for s in words}
    from listen.learn.score import rules

    text = tmp_path / "rules.toml"
    text.write_text(
        (rules.Path(rules.__file__).with_name("rules.toml"))
        .read_text()
        .replace('"thump", "bang"]', '"thump"]', 1)
    )
    with pytest.raises(KnowledgeError, match="every sound once"):
        load_rules(text)
    with pytest.raises(KnowledgeError, match="cannot be used"):
        load_rules(tmp_path / "none.toml")
