"""Every format a phone writes is heard: the right pitch, level, length and facts.

What is expected comes from the samples that numpy wrote and from the encoders
(FFmpeg's by PyAV, libsndfile's by soundfile), not from this project.
"""

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from support.encode import FORMATS, amr_wb, encode, tone, wav

from listen.decode import open_clip, read_clip

HZ, LEVEL, DURATION_S = 440.0, 0.5, 1.5
CASES = [
    (name, rate_hz, channels)
    for name, form in FORMATS.items()
    for rate_hz in (form.rates_hz or (8_000, 44_100, 96_000))
    for channels in ((1,) if form.mono_only else (1, 2))
]


def tone_of(samples: np.ndarray, rate_hz: int) -> tuple[float, float]:
    """Return frequency (Hz) and amplitude of the strongest tone in the middle half.

    The peak of a Hann-windowed spectrum, refined by the parabola through three
    log-magnitude bins.
    """
    middle = samples[len(samples) // 4 : 3 * len(samples) // 4].astype(np.float64)
    window = np.hanning(len(middle))
    n_fft = 8 * len(middle)
    magnitude = np.abs(np.fft.rfft(middle * window, n_fft))
    k = int(magnitude.argmax())
    a, b, c = np.log(magnitude[k - 1 : k + 2])
    shift = 0.5 * (a - c) / (a - 2 * b + c)
    peak = np.exp(b - 0.25 * (a - c) * shift)
    return (k + shift) * rate_hz / n_fft, 2 * peak / window.sum()


@pytest.mark.parametrize(("name", "rate_hz", "channels"), CASES)
def test_round_trip(name, rate_hz, channels, worker):
    form = FORMATS[name]
    data = encode(tone(rate_hz, DURATION_S, hz=HZ, level=LEVEL, channels=channels), rate_hz, name)
    clip = read_clip(data, name="clip", worker=worker)
    # Opus is decoded at 48 kHz whatever went in (RFC 7845, section 5.1).
    assert clip.rate_hz == (48_000 if "opus" in name else rate_hz)
    assert clip.info.channels == channels
    assert clip.samples.dtype == np.float32
    assert np.isfinite(clip.samples).all()
    assert not clip.samples.flags.writeable
    # Padding and priming of lossy codecs: at most three AAC frames.
    assert clip.info.duration_s == pytest.approx(DURATION_S, abs=3 * 1024 / rate_hz + 0.03)
    hz, level = tone_of(clip.samples, clip.rate_hz)
    assert hz == pytest.approx(HZ, abs=0.2)
    assert 20 * np.log10(level / LEVEL) == pytest.approx(0.0, abs=form.lossy_db + 0.01)
    assert clip.notes == ()


@pytest.mark.parametrize(
    "name", ["wav_16", "wav_24", "wav_f32", "flac", "aiff", "m4a_alac", "caf_pcm", "mov_pcm"]
)
def test_lossless_formats_keep_every_sample(name, worker):
    rng = np.random.default_rng(4)
    # Multiples of 1/32768 pass through 16 bits unchanged.
    samples = (rng.integers(-30_000, 30_000, 48_000) / 32_768).astype(np.float32)
    clip = read_clip(encode(samples, 48_000, name), worker=worker)
    assert np.abs(clip.samples - samples).max() <= 0.5 / 32_768


@pytest.mark.parametrize(
    ("kind", "subtype", "suffix"),
    [("WAV", "PCM_24", "wav"), ("RF64", "PCM_16", "wav"), ("W64", "PCM_16", "w64"),
     ("FLAC", "PCM_24", "flac"), ("CAF", "FLOAT", "caf"), ("AIFF", "PCM_24", "aif"),
     ("OGG", "VORBIS", "ogg"), ("MP3", "MPEG_LAYER_III", "mp3")],
)  # fmt: skip
def test_files_of_another_library(kind, subtype, suffix, worker):
    if kind not in soundfile.available_formats():
        pytest.skip(f"this libsndfile does not write {kind}")
    out = io.BytesIO()
    soundfile.write(out, tone(44_100, DURATION_S)[0], 44_100, format=kind, subtype=subtype)
    clip = read_clip(out.getvalue(), name=f"x.{suffix}", worker=worker)
    hz, level = tone_of(clip.samples, clip.rate_hz)
    assert hz == pytest.approx(HZ, abs=0.2)
    assert level == pytest.approx(LEVEL, rel=0.02)


@pytest.mark.parametrize(
    ("name", "container", "codec"),
    [("m4a_aac", "m4a", "aac"), ("m4a_alac", "m4a", "alac"), ("mov_video", "mov", "aac"),
     ("mp4_video", "mp4", "aac"),
     ("3gp_amr_nb", "3gp", "amrnb"), ("amr_nb", "amr", "amrnb"), ("ogg_opus", "ogg", "opus"),
     ("webm_opus", "webm", "opus"), ("wav_mulaw", "wav", "pcm_mulaw"), ("caf_alac", "caf", "alac")],
)  # fmt: skip
def test_facts_of_the_file(name, container, codec, worker):
    rate_hz = (FORMATS[name].rates_hz or (48_000,))[-1]
    data = encode(tone(rate_hz, 1.0), rate_hz, name)
    with open_clip(data, name="voice note", worker=worker) as clip:
        for _ in clip.blocks():
            pass
    assert (clip.container, clip.codec, clip.name) == (container, codec, "voice note")
    assert clip.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("mode", range(9))
def test_amr_wide_band_of_every_mode(mode, worker):
    clip = read_clip(amr_wb(1.0, mode=mode), worker=worker)
    # RFC 4867: 16 kHz, frames of 20 ms.
    assert (clip.rate_hz, clip.info.codec) == (16_000, "amrwb")
    assert clip.info.duration_s == pytest.approx(1.0, abs=0.001)
    assert clip.samples.std() > 0.0


@pytest.mark.parametrize(
    "name", ["m4a_aac", "amr_nb", "ogg_opus", "mp3", "caf_pcm", "3gp_amr_nb", "adts_aac"]
)
@pytest.mark.parametrize("file_name", ["voice note", "clip.wav", "wrong.txt"])
def test_the_name_decides_nothing(name, file_name, tmp_path: Path, worker):
    rate_hz = (FORMATS[name].rates_hz or (48_000,))[-1]
    path = tmp_path / file_name
    path.write_bytes(encode(tone(rate_hz, 1.0), rate_hz, name))
    clip = read_clip(path, worker=worker)
    assert tone_of(clip.samples, clip.rate_hz)[0] == pytest.approx(HZ, abs=0.5)
    assert clip.info.name == file_name


def test_fresh_child_and_warm_worker_hear_the_same(tmp_path: Path, worker):
    path = tmp_path / "clip.m4a"
    path.write_bytes(encode(tone(48_000, 2.5, channels=2), 48_000, "m4a_aac"))
    fresh, warm = read_clip(path), read_clip(str(path), worker=worker)
    assert np.array_equal(fresh.samples, warm.samples)
    assert fresh.info == warm.info


def test_blocks_of_one_second_make_the_whole(worker):
    data = encode(tone(48_000, 3.3), 48_000, "wav_16")
    with open_clip(data, worker=worker) as clip:
        blocks = list(clip.blocks())
    assert [len(block) for block in blocks] == [48_000, 48_000, 48_000, 14_400]
    assert clip.duration_s == pytest.approx(3.3)
    assert np.array_equal(np.concatenate(blocks), read_clip(data, worker=worker).samples)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000])
def test_sample_rates(rate_hz, worker):
    clip = read_clip(wav(tone(rate_hz, 1.0), rate_hz), worker=worker)
    assert clip.rate_hz == rate_hz
    assert len(clip.samples) == rate_hz


def test_pictures_and_long_notes_in_the_tag_do_no_harm(worker):
    data = encode(
        tone(44_100, 1.0), 44_100, "mp3", metadata={"title": "=cmd|' /C calc'!A0", "comment": "x" * 300_000}
    )
    assert data.startswith(b"ID3")
    assert read_clip(data, worker=worker).info.container == "mp3"
