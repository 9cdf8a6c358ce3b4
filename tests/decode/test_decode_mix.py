"""Raw samples to mono: scales, channels that cancel, values that are not numbers."""

import numpy as np
import pytest
from support.encode import encode, tone, wav

from listen.decode import read_clip
from listen.decode.framing import BLOCK, FORMAT_NUMBER, FramingError
from listen.decode.mix import Mixer, channels_of


def payload(kind: str, values: np.ndarray, *, packed: int = 1, channels: int = 1) -> bytes:
    return BLOCK.pack(FORMAT_NUMBER[kind], packed, channels, values.size // channels) + values.tobytes()


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [
        ("u8", np.array([0, 128, 192], "u1"), [-1.0, 0.0, 0.5]),
        ("s16", np.array([-32768, 0, 16384], "<i2"), [-1.0, 0.0, 0.5]),
        ("s32", np.array([-(2**31), 0, 2**30], "<i4"), [-1.0, 0.0, 0.5]),
        ("s64", np.array([-(2**63), 0, 2**62], "<i8"), [-1.0, 0.0, 0.5]),
        ("flt", np.array([-1.0, 0.0, 0.5], "<f4"), [-1.0, 0.0, 0.5]),
        ("dbl", np.array([-1.0, 0.0, 0.5], "<f8"), [-1.0, 0.0, 0.5]),
    ],
)
def test_full_scale_is_one(kind, values, expected):
    block = channels_of(payload(kind, values))
    assert block.dtype == np.float32
    assert block.tolist() == [expected]


def test_packed_and_planar_are_told_apart():
    values = np.array([0.1, 0.2, 0.3, 0.4], "<f4")
    assert channels_of(payload("flt", values, channels=2)).tolist() == values.reshape(2, 2).T.tolist()
    assert channels_of(payload("flt", values, packed=0, channels=2)).tolist() == values.reshape(2, 2).tolist()


@pytest.mark.parametrize(
    "bad", [b"", b"\0" * 7, BLOCK.pack(9, 0, 1, 1) + b"\0\0", BLOCK.pack(1, 0, 0, 1), BLOCK.pack(1, 0, 9, 1),
            BLOCK.pack(1, 2, 1, 1) + b"\0\0", BLOCK.pack(1, 0, 1, 0), BLOCK.pack(1, 0, 1, 2**31) + b"\0\0"],
)  # fmt: skip
def test_impossible_blocks_are_refused(bad):
    with pytest.raises(FramingError):
        channels_of(bad)


def test_stereo_is_averaged(worker):
    left, right = tone(48_000, 1.0, level=0.6), tone(48_000, 1.0, level=0.2)
    clip = read_clip(wav(np.vstack([left, right]), 48_000), worker=worker)
    assert np.abs(clip.samples).max() == pytest.approx(0.4, abs=1e-3)
    assert clip.notes == ()


@pytest.mark.parametrize("gain", [-1.0, -0.6])
def test_channels_that_cancel_yield_the_louder_one(gain, worker):
    one = tone(48_000, 3.0)[0]
    clip = read_clip(wav(np.vstack([gain * one, one]), 48_000), worker=worker)
    louder = one if abs(gain) < 1 else gain * one
    assert np.abs(clip.samples - louder).max() < 1e-6
    assert [note.code for note in clip.notes] == ["channels_cancel"]
    assert "from 0:00 on" in clip.notes[0].text


def test_independent_channels_are_averaged(worker):
    noise = np.random.default_rng(3).normal(0, 0.1, (2, 96_000)).astype(np.float32)
    clip = read_clip(wav(noise, 48_000), worker=worker)
    assert clip.notes == ()
    assert np.abs(clip.samples - noise.mean(axis=0)).max() < 1e-6


def test_one_silent_channel_is_averaged_like_any_other(worker):
    one = tone(48_000, 1.0)
    clip = read_clip(wav(np.vstack([one, 0 * one]), 48_000), worker=worker)
    assert clip.notes == ()
    assert np.abs(clip.samples).max() == pytest.approx(0.25, abs=1e-3)


def test_change_to_one_channel_is_no_click():
    """Noise, then channels that cancel: the step between samples stays as small as the sound's own."""
    rate_hz = 48_000
    mixer = Mixer(rate_hz)
    one = 0.5 * np.sin(2 * np.pi * 100 * np.arange(2 * rate_hz) / rate_hz).astype(np.float32)
    same, cancel = np.vstack([one, one])[:, :rate_hz], np.vstack([one, -one])[:, rate_hz:]
    out = np.concatenate([mixer.mix(same), mixer.mix(cancel)])
    assert mixer.cancels_from_s == 1.0
    assert np.abs(np.diff(out)).max() < 1.5 * np.abs(np.diff(one)).max()


def test_some_values_that_are_not_numbers_are_silence_and_noted(worker):
    samples = tone(48_000, 4.0)
    samples[0, 60_000:60_010] = np.nan
    samples[0, 96_000] = np.inf
    clip = read_clip(wav(samples, 48_000), worker=worker)
    assert np.isfinite(clip.samples).all()
    assert not clip.samples[60_000:60_010].any()
    (note,) = clip.notes
    assert (note.code, note.blocks) == ("not_a_number", ("*",))
    assert note.start_s == pytest.approx(1.25)
    assert note.end_s == pytest.approx(96_001 / 48_000)
    assert note.text.startswith("11 samples from 0:01 on")


def test_absurd_levels_are_held_and_noted(worker):
    samples = tone(48_000, 1.0)
    samples[0, 100] = 3e38
    clip = read_clip(wav(samples, 48_000), worker=worker)
    assert np.abs(clip.samples).max() == 16.0
    assert [note.code for note in clip.notes] == ["over_range"]


def test_overshoot_of_a_lossy_codec_is_kept(worker):
    square = np.sign(tone(48_000, 1.0)) * 0.99
    clip = read_clip(encode(square, 48_000, "m4a_aac"), worker=worker)
    assert np.abs(clip.samples).max() > 1.0
    assert clip.notes == ()
