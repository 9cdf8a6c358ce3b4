"""The phone set as it is stored: unaltered, small, decodable, and its labels in the recordings' own time."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from listen.cli.score_sets import list_hash
from listen.decode import read_clip
from listen.vocabulary import ACTIONS, SOUNDS, STATES
from tests.measure import make_phone_set, phone_truth

HERE = Path(__file__).parent
LIST = HERE / "phones.json"


@pytest.fixture(scope="module")
def listed():
    return json.loads(LIST.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def clips(listed):
    return listed["clips"]


def test_list_and_files_are_those_that_were_made(listed, clips):
    assert list_hash(clips) == listed["sha256"]
    stored = {f"phones/{path.name}" for path in (HERE / "phones").iterdir()}
    assert stored == {clip["file"] for clip in clips}
    for clip in clips:
        data = (HERE / clip["file"]).read_bytes()
        assert hashlib.sha256(data).hexdigest() == clip["sha256"], clip["file"]
        assert len(data) == clip["bytes"] <= make_phone_set.LARGEST_BYTES
    assert sum(clip["bytes"] for clip in clips) <= make_phone_set.LARGEST_SET_BYTES


def test_set_is_wide_enough(listed, clips):
    assert len(clips) + len(listed["dropped"]) == listed["planned"] == len(make_phone_set.jobs())
    assert len(clips) >= 0.85 * listed["planned"]
    families = Counter(clip["family"] for clip in clips)
    assert set(families) == set(make_phone_set.FAMILIES) and min(families.values()) >= 8
    ways = {(clip["chain"], clip["codec"]) for clip in clips}
    assert ways == set(make_phone_set.WAYS)
    assert listed["made_with"].startswith("Chromium ")


def test_seeds_are_the_sets_own(clips):
    seeds = [clip["seed"] for clip in clips]
    assert len(set(seeds)) == len(seeds)
    assert min(seeds) >= make_phone_set.FIRST_SEED
    pinned = json.loads((HERE / "scenes.json").read_text(encoding="utf-8"))
    assert not set(seeds) & {scene["seed"] for scene in pinned["scenes"]}


def test_labels_are_words_within_the_clip(clips):
    for clip in clips:
        for label in clip["labels"] + clip["deciding"]:
            assert label["sound"] in SOUNDS
            assert 0 <= label["onset_s"] < label["offset_s"] <= clip["duration_s"] + 0.05, clip["file"]
        times = [at_s for at_s, _ in clip["story"]]
        assert times == sorted(times) and all(0 <= t <= clip["duration_s"] for t in times)
        assert {word for _, word in clip["story"]} <= {*STATES, *ACTIONS}


def test_what_is_carried_follows_from_the_labels(clips):
    for clip in clips:
        deciding = clip["deciding"]
        told = all(d["snr_db"] >= 6 and d["passed_share"] >= 0.25 and not d["erased"] for d in deciding)
        assert clip["carries"] == (bool(deciding) and told), clip["file"]
        # Only suppression erases.
        if not clip["processing"]["noise"]:
            assert not any(label["erased"] for label in clip["labels"] + deciding)


def test_suppression_erases_and_nothing_else_does(clips):
    """A measured fact of the set: with suppression most lasting hums and pumps are lost, without it none is."""

    def lost(noise):
        return [
            d["lost_share"]
            for clip in clips
            if clip["processing"]["noise"] == noise and clip["codec"] != "amr_nb"
            for d in clip["deciding"]
            if d["sound"] in ("mains_hum", "mains_buzz", "motor_run", "stroke_train") and not d["absent"]
        ]

    assert len(lost(True)) > 20 and len(lost(False)) > 20
    assert np.mean(lost(True)) > 0.3 and np.mean(lost(False)) < 0.05


def test_every_file_decodes_to_its_length(clips):
    for clip in clips:
        samples = phone_truth.decode((HERE / clip["file"]).read_bytes())
        assert len(samples) / phone_truth.RATE_HZ == pytest.approx(clip["duration_s"], abs=0.001)
        assert np.max(np.abs(samples)) > 1e-3
        assert 0 <= clip["duration_s"] - clip["scene_s"] < 0.5


def test_the_tool_opens_each_kind_and_keeps_its_time(clips):
    for codec in {clip["codec"] for clip in clips}:
        clip = next(clip for clip in clips if clip["codec"] == codec)
        heard = read_clip(HERE / clip["file"])
        assert len(heard.samples) / heard.rate_hz == pytest.approx(clip["duration_s"], abs=0.03)


def test_loud_clicks_stand_where_their_labels_say(clips):
    """Outside the alignment: where the level first passes half its rise (in dB) over what was before.

    The steepest rise would not do: a valve's click rebounds, and the second stroke may be the sharper.
    A coder's pre-echo makes the rise a few milliseconds early.
    """
    off_ms = []
    for clip in clips:
        if clip["chain"] != "all_off":
            continue
        clicks = [x for x in clip["labels"] if x["sound"] == "click" and x["source"] == "machine"]
        lone = [x for x in clicks if x["snr_db"] >= 30 and x["onset_s"] > 0.2]
        if not lone:
            continue
        samples = phone_truth.decode((HERE / clip["file"]).read_bytes())
        hop = phone_truth.RATE_HZ // 1000
        level = 10 * np.log10(
            np.mean(samples[: len(samples) // hop * hop].reshape(-1, hop) ** 2, axis=1) + 1e-10
        )
        for label in lone:
            at_ms = round(1000 * label["onset_s"])
            span = level[at_ms - 60 : at_ms + 31]
            floor, peak = np.median(span[:45]), np.max(span[45:])
            # Where sound runs on from before, the click's edge cannot be measured so.
            if peak - floor >= 18:
                off_ms.append(int(np.argmax(span >= (floor + peak) / 2)) - 60)
    assert len(off_ms) >= 20
    assert np.mean(np.abs(off_ms) <= 15) >= 0.9, off_ms
    assert abs(np.median(off_ms)) <= 4
