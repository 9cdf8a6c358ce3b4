"""Verdicts, findings and stops, counted by hand; what is listed as a miss."""

from listen.learn.score import load_rules, score_set
from listen.learn.score.verdicts import score_verdicts, stops
from tests.learn_score.made import clip, event, heard, label

RULES = load_rules()
BLAST = ("blast", "stop", True)
GAUGE = ("gauge_high", "stop", False)


def scene(name, family, verdict, carries=True, **more):
    return clip(name=name, family=family, verdict=verdict, carries=carries, **more)


PAIRS = [
    (scene("a", "blast", "abnormal"), heard(verdict="abnormal", level="stop", findings=[BLAST])),
    (scene("b", "blast", "abnormal"), heard(verdict="abnormal", level="service", findings=[("lasting_hiss", "service", True), ("blast", "watch", True)])),
    (scene("c", "blast", "abnormal", carries=False), heard(verdict="normal", level="fine")),
    (scene("d", "chatter", "abnormal"), heard(verdict="cannot_tell", level="stop", findings=[GAUGE])),
    (scene("e", "normal_brew", "normal"), heard(verdict="normal", level="fine")),
    (scene("f", "normal_steam", "normal"), heard(verdict="abnormal", level="stop", findings=[BLAST])),
    (scene("g", "normal_idle", "normal"), heard(verdict="cannot_tell", level="stop", findings=[GAUGE])),
    (scene("h", "no_machine", "cannot_tell", carries=False), heard(verdict="cannot_tell")),
    (clip(name="i", family="sound:click"), heard(verdict="abnormal", level="stop", findings=[BLAST])),
]  # fmt: skip


def test_shares_by_hand():
    v = score_verdicts(PAIRS, RULES)

    def of(row):
        return row["hits"], row["n"]

    assert v["clips"] == 8 and v["carrying"] == 6
    assert v["table"]["abnormal"] == {"normal": 1, "abnormal": 2, "cannot_tell": 1}
    assert v["table"]["normal"] == {"normal": 1, "abnormal": 1, "cannot_tell": 1}
    assert v["table"]["cannot_tell"] == {"normal": 0, "abnormal": 0, "cannot_tell": 1}
    assert of(v["coverage"]) == (4, 6)
    assert of(v["right_among_answered"]) == (3, 4)
    assert of(v["finding_first"]) == (1, 3)
    assert of(v["finding_in_three"]) == (2, 3)
    assert of(v["wrong_without_carrying"]) == (1, 1)
    assert of(v["cannot_tell_without_machine"]) == (1, 1) and of(v["abnormal_without_machine"]) == (0, 1)
    s = v["stops"]
    assert s["called_for"] == ["blast"]
    assert of(s["from_sound_where_called_for"]) == (1, 2)
    assert of(s["false_from_sound"]) == (1, 4)
    assert of(s["false_from_gauge_or_story"]) == (1, 4)
    assert of(s["from_gauge_or_story"]) == (2, 8)
    assert of(s["from_sound_on_other_faults"]) == (0, 1)
    assert v["families"]["blast"]["clips"] == 3 and of(v["families"]["blast"]["right"]) == (1, 2)
    assert of(v["families"]["no_machine"]["right"]) == (1, 1)


def test_stops_are_told_apart():
    assert stops(heard(findings=[BLAST])) == (True, False)
    assert stops(heard(findings=[GAUGE, ("x", "watch", True)])) == (False, True)
    assert stops(heard()) == (False, False)


def test_worst_misses_come_first_and_point_at_their_clip():
    misses = score_set(PAIRS, about="x")["misses"]
    assert [m["clip"] for m in misses] == ["f", "b", "d"]
    assert "nothing is wrong" in misses[0]["what"] and misses[0]["rank"] == 0
    assert all(PAIRS[m["place"]][0].name == m["clip"] for m in misses)


def test_the_plainest_unheard_sound_and_the_surest_invented_one_are_listed():
    pairs = [
        (clip([label("hiss", 1, 3, snr_db=12.0)], name="a"), heard([event("click", 5, 5.1, 0.4)])),
        (clip([label("hiss", 2, 4, snr_db=30.0)], name="b"), heard([event("click", 7, 7.1, 0.8)])),
    ]
    misses = score_set(pairs, about="x")["misses"]
    assert [(m["clip"], m["at_s"]) for m in misses] == [("b", 2), ("b", 7)]
    assert "30 dB" in misses[0]["what"] and "0.80" in misses[1]["what"]
