"""Synthetic against real: what cannot be told apart is not, what can is."""

import numpy as np
import pytest

from listen.features.names import TEXTURE_NAMES
from listen.features.textures import SEGMENT_S
from listen.learn.score.realness import Textures, compare, scale_of, textures_of


def recordings(rng, prefix, count, shift=0.0, measure="shape_1k_db"):
    made = []
    for n in range(count):
        rows = rng.normal(0, 1, (5, len(TEXTURE_NAMES)))
        rows[:, TEXTURE_NAMES.index(measure)] += shift
        made.append(Textures(rows.astype(np.float32), f"{prefix}{n}"))
    return made


def test_alike_is_not_told_apart():
    rng = np.random.default_rng(1)
    areas = [
        compare(recordings(rng, "r", 15), recordings(rng, "s", 15), s)["area"]["value"] for s in range(4)
    ]
    assert 0.35 < np.mean(areas) < 0.65


def test_different_is_told_apart_by_what_differs():
    rng = np.random.default_rng(2)
    out = compare(recordings(rng, "r", 12), recordings(rng, "s", 12, shift=8.0), 1)
    assert out["area"]["value"] > 0.95 and out["area"]["low"] > 0.8
    assert out["differ_most"][0]["measure"] == "shape_1k_db"
    assert out["differ_most"][0]["synthetic"] - out["differ_most"][0]["real"] == pytest.approx(8.0, abs=1.0)


def test_distances_are_told_in_the_spread_over_all_sounds():
    rng = np.random.default_rng(6)
    real, made = recordings(rng, "r", 9), recordings(rng, "s", 9, shift=60.0)
    others = [*real, *made, *recordings(rng, "o", 40, shift=0.0), *recordings(rng, "p", 40, shift=40.0)]
    scale = scale_of(others)
    first = TEXTURE_NAMES.index("shape_1k_db")
    assert scale[first] == pytest.approx(40, abs=2)
    row = next(d for d in compare(real, made, 1, scale)["differ_most"] if d["measure"] == "shape_1k_db")
    assert row["spreads_apart"] == pytest.approx(60.0 / scale[first], abs=0.05)
    # What never varies elsewhere is not shown as infinitely far.
    scale[first] = 0.0
    assert "shape_1k_db" not in [d["measure"] for d in compare(real, made, 1, scale)["differ_most"]]


def test_pieces_of_one_recording_are_one():
    rng = np.random.default_rng(3)
    real = [Textures(t.rows, "same") for t in recordings(rng, "r", 9)]
    out = compare(real, recordings(rng, "s", 9), 1)
    assert out["real_recordings"] == 1 and "fewer than" in out["not_given"] and "area" not in out


def test_segments_lie_inside_the_span():
    rng = np.random.default_rng(4)
    noise = (0.1 * rng.standard_normal(6 * 44_100)).astype(np.float32)
    whole = textures_of(noise, 44_100, "a")
    part = textures_of(noise, 44_100, "a", (1.0, 1.0 + 2 * SEGMENT_S))
    assert whole.rows.shape[1] == len(TEXTURE_NAMES) and 0 < len(part.rows) < len(whole.rows)
    assert len(textures_of(noise, 44_100, "a", (1.0, 1.5)).rows) == 0
