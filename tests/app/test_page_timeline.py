"""What the player gets: lanes, rows, missing sounds, picture and sound."""

import dataclasses
import io
import json
import wave

import bench_page_timeline as timeline
import numpy as np
import pytest
from PIL import Image

from listen.features.picture import Picture
from listen.report import player as drawing
from listen.report.to_dict import to_dict
from listen.types import SoundEvent
from listen.vocabulary import NOT_MACHINE, SOUNDS
from tests.support import reports


def data_of(report, **changes):
    data = to_dict(report)
    data.update(changes)
    return timeline.timeline_data(data, "/media/a.wav", "/media/a.png")


@pytest.mark.parametrize("make", reports.ALL.values(), ids=reports.ALL.keys())
def test_every_event_has_a_spot_and_a_row_with_its_time(make):
    report = make()
    data = data_of(report)
    spots = [spot for lane in data["lanes"] for spot in lane["spots"] if not spot["missing"]]
    assert sorted(spot["start_s"] for spot in spots) == sorted(event.onset_s for event in report.events)
    heard = [row for row in data["rows"] if not row["missing"]]
    assert [row["start_s"] for row in heard] == [event.onset_s for event in report.events]
    json.dumps(data, allow_nan=False)


def test_missing_sounds_are_drawn_in_the_span_of_their_state():
    data = data_of(reports.telephone_band())
    missing = [spot for lane in data["lanes"] for spot in lane["spots"] if spot["missing"]]
    assert [(spot["start_s"], spot["end_s"]) for spot in missing] == [(2.0, 9.0)]
    assert [row["words"] for row in data["rows"] if row["missing"]] == ["short discharge"]


def test_events_of_a_finding_are_flagged():
    assert data_of(reports.lasting_hiss())["rows"][0]["flagged"]
    assert not any(row["flagged"] for row in data_of(reports.normal_brew())["rows"])


def test_many_events_leave_a_short_list_that_keeps_what_matters():
    report = reports.lasting_hiss()
    clicks = tuple(SoundEvent(f"e{n}", "click", n / 10, n / 10 + 0.01, 0.6) for n in range(200))
    report = to_dict(dataclasses.replace(report, events=clicks))
    report["findings"][0]["event_ids"] = ["e150"]
    data = timeline.timeline_data(report, None, "x")
    assert len(data["rows"]) == timeline.MAX_ROWS
    assert sum(row["lead"] for row in data["rows"]) == timeline.LEAD_ROWS
    assert [row["start_s"] for row in data["rows"] if row["flagged"] and row["lead"]] == [15.0]
    assert data["rows"] == sorted(data["rows"], key=lambda row: row["start_s"])
    assert len(data["lanes"][0]["spots"]) == 200


def test_the_key_changes_with_the_content_only():
    assert data_of(reports.normal_brew())["key"] == data_of(reports.normal_brew())["key"]
    assert data_of(reports.normal_brew())["key"] != data_of(reports.normal_brew(), story=[])["key"]


@pytest.mark.parametrize("sound", SOUNDS)
def test_every_sound_has_a_shape(sound):
    shape = timeline.shape_of(sound)
    assert shape in ("knock", "tone", "noise", "other")
    assert (shape == "other") == (sound in NOT_MACHINE)


@pytest.mark.parametrize("duration_s", [0.0, 0.5, 6.0, 24.0, 61.0, 3600.0, 28800.0])
def test_axis_has_few_round_moments(duration_s):
    moments = timeline.axis_s(duration_s)
    assert moments[0] == 0.0
    assert len(moments) <= 9
    assert all(moment <= duration_s for moment in moments)


def test_picture_has_low_frequencies_at_the_bottom_and_silence_clear():
    levels = np.full((96, 300), -80.0, np.float32)
    levels[5, 100:200] = -20.0  # a low line in the middle third
    image = Image.open(io.BytesIO(drawing.picture_png(Picture(levels, np.geomspace(40, 15500, 96), 10.0))))
    alpha = np.asarray(image.getchannel("A"))
    assert alpha.shape == (96, 300)
    assert alpha[96 - 1 - 5, 150] == 255
    assert alpha[:80].max() == 0 and alpha[90, 50] == 0


@pytest.mark.parametrize("shape", [(96, 0), (96, 1), (96, 4096)])
def test_picture_of_any_size(shape):
    png = drawing.picture_png(Picture(np.zeros(shape, np.float32), np.geomspace(40, 15500, 96), 1.0))
    assert 1 <= Image.open(io.BytesIO(png)).width <= drawing.MAX_COLUMNS


def tone_wav(duration_s, rate_hz=48000):
    samples = 0.25 * np.sin(2 * np.pi * 440 * np.arange(int(duration_s * rate_hz)) / rate_hz)
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(rate_hz)
        writer.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return out.getvalue()


def test_playable_sound_is_the_clip_itself():
    original = tone_wav(1.0)
    with wave.open(io.BytesIO(drawing.playable_wav(original, "a.wav", 1.0))) as reader:
        assert (reader.getframerate(), reader.getnchannels(), reader.getnframes()) == (48000, 1, 48000)
        samples = np.frombuffer(reader.readframes(48000), "<i2") / 32767
    assert np.sqrt(np.mean(samples**2)) == pytest.approx(0.25 / np.sqrt(2), rel=1e-3)


def test_long_clips_are_played_at_a_lower_rate_and_very_long_ones_not_at_all():
    clip = tone_wav(2.0)
    with wave.open(io.BytesIO(drawing.playable_wav(clip, "a.wav", 200.0))) as reader:
        assert reader.getframerate() == drawing.LONG_CLIP_RATE_HZ
        assert reader.getnframes() == pytest.approx(32000, abs=50)
    assert drawing.playable_wav(clip, "a.wav", drawing.PLAYABLE_S + 1) is None
