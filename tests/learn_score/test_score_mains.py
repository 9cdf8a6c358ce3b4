"""The mains is scored where it is known and a sound is locked to it."""

from listen.learn.score import Heard, load_rules, score_set
from listen.learn.score.mains import score_mains
from listen.learn.score.table import mains_text
from tests.learn_score.made import clip, label

RULES = load_rules()


def pair(name, true_hz, measured_hz, sound="mains_hum", **more):
    truth = clip([label(sound, 1, 9, **more)], name=name, mains_hz=true_hz)
    return truth, Heard([], "cannot_tell", "watch", (), measured_hz)


PAIRS = [
    pair("a", 50.02, 50.03), pair("b", 50.0, 60.01), pair("c", 60.0, None), pair("d", 59.98, 59.95),
    pair("no line in it", 50.0, 55.0, sound="hiss"), pair("too faint", 50.0, 55.0, snr_db=3.0), pair("unknown", None, 50.0),
]  # fmt: skip


def test_only_clips_with_a_locked_sound_are_asked():
    row = score_mains(PAIRS, RULES)
    assert (row["measured"]["hits"], row["measured"]["n"]) == (3, 4)
    assert (row["right"]["hits"], row["right"]["n"]) == (2, 3)
    assert row["middle_error_hz"] == 0.03
    assert score_set(PAIRS, about="x")["mains"] == row
    assert "0.03 Hz off" in mains_text(row)


def test_a_set_without_a_known_mains_has_no_row():
    assert score_mains(PAIRS[4:], RULES) is None
    assert "mains" not in score_set(PAIRS[6:], about="x")


def test_nothing_measured_has_no_error():
    row = score_mains([pair("c", 60.0, None)], RULES)
    assert row["middle_error_hz"] is None and row["right"]["value"] is None
    assert "off in the middle" not in mains_text(row)
