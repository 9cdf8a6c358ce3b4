"""Every bad file gets one plain sentence that says what is wrong and what to do."""

import io
import os
import socket
import time
from pathlib import Path

import av
import numpy as np
import pytest
from support.encode import cover_without_sound, encode, tone, video_without_sound, wav

from listen.decode import DecodeLimits, open_clip, read_clip
from listen.errors import BadParameter, ListenError, UnreadableClip, UnusableClip

SECOND = tone(48_000, 1.0)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "file is empty"),
        (b"Hello, this is my machine.\n" * 40, "text file"),
        ("Grüße aus der Küche, die Pumpe röhrt.\n".encode() * 300, "text file"),
        (b"#EXTM3U\n#EXT-X-TARGETDURATION:10\nsegment0.ts\n", "list that points to other files"),
        (b"\xef\xbb\xbf#EXTM3U\nsegment0.ts\n", "list that points to other files"),
        (b"ffconcat version 1.0\nfile 'other.wav'\n", "list that points to other files"),
        (b"file 'other.wav'\n", "list that points to other files"),
        (b"[playlist]\nFile1=other.wav\n", "list that points to other files"),
        (b"v=0\no=- 0 0 IN IP4 127.0.0.1\nm=audio 5004 RTP/AVP 0\n", "list that points to other files"),
        (b'<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011"/>', "list that points to other"),
        (b"<!DOCTYPE html><html><body>404</body></html>", "web page"),
        (b"PK\x03\x04" + bytes(100), "packed archive"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "picture"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(500), "picture"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(100), "document"),
        (bytes(5000), "no kind of recording"),
        (np.random.default_rng(1).bytes(5000), "no kind of recording"),
        (b"RIFF\x24\x00\x00\x00WAVE", "damaged or not complete"),
        (b"OggS" + bytes(60), "damaged|cannot be opened|no sound"),
        (wav(SECOND[:, :0], 48_000), "no sound at all"),
        (wav(SECOND[:, :23_900], 48_000), "shorter than 0.5 seconds"),
        (wav(np.full((1, 48_000), np.nan), 48_000), "no sample of this recording is a number"),
        (wav(np.full((2, 48_000), np.inf), 48_000), "no sample of this recording is a number"),
    ],
)  # fmt: skip
def test_sentence(data, match, worker):
    with pytest.raises(ListenError, match=match) as caught:
        read_clip(data, name="clip 7.m4a", worker=worker)
    message = str(caught.value)
    assert message.startswith("clip 7.m4a: ")
    assert message.count("\n") == 0
    assert ";" in message  # what is wrong; what to do next


def test_kinds_of_error(worker):
    with pytest.raises(UnusableClip):
        read_clip(wav(SECOND[:, :1000], 48_000), worker=worker)
    with pytest.raises(UnreadableClip):
        read_clip(b"abc", worker=worker)


def test_exactly_half_a_second_is_heard(worker):
    assert read_clip(wav(SECOND[:, :24_000], 48_000), worker=worker).info.duration_s == 0.5


def test_silence_is_not_an_error(worker):
    assert not read_clip(wav(np.zeros((1, 48_000)), 48_000), worker=worker).samples.any()


def test_video_without_sound(worker):
    with pytest.raises(UnreadableClip, match="this video has no sound; record again with the microphone on"):
        read_clip(video_without_sound(), worker=worker)


def test_cover_without_sound(worker):
    with pytest.raises(UnreadableClip, match="no sound track"):
        read_clip(cover_without_sound(), worker=worker)


def test_m4a_without_its_end_is_refused_with_the_reason(worker):
    data = encode(tone(48_000, 3.0), 48_000, "m4a_aac")
    with pytest.raises(UnreadableClip, match="end of the file is missing"):
        read_clip(data[: len(data) // 2], worker=worker)


def test_folder_missing_and_odd_names(tmp_path: Path):
    with pytest.raises(UnreadableClip, match="this is a folder"):
        read_clip(tmp_path)
    with pytest.raises(UnreadableClip, match="there is no such file"):
        read_clip(tmp_path / "missing.m4a")
    with pytest.raises(UnreadableClip, match="there is no such file"):
        read_clip("")
    with pytest.raises(UnreadableClip, match="zero character"):
        read_clip("a\0b.wav")
    with pytest.raises(UnreadableClip, match="too long"):
        read_clip("x" * 5000)
    with pytest.raises(BadParameter, match="path or bytes, not int"):
        read_clip(7)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_pipes_devices_and_sockets_are_refused_at_once(tmp_path: Path):
    pipe = tmp_path / "pipe.wav"
    os.mkfifo(pipe)
    started = time.monotonic()
    for path in (pipe, Path("/dev/zero"), Path("/dev/tty")):
        with pytest.raises(UnreadableClip, match=r"device or a pipe|could not be opened|no such file"):
            read_clip(path)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(tmp_path / "s.wav"))
        with pytest.raises(UnreadableClip, match="device or a pipe"):
            read_clip(tmp_path / "s.wav")
    assert time.monotonic() - started < 2.0


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the super-user may read all")
def test_no_permission(tmp_path: Path):
    path = tmp_path / "locked.wav"
    path.write_bytes(wav(SECOND, 48_000))
    path.chmod(0)
    with pytest.raises(UnreadableClip, match="may not be read"):
        read_clip(path)


def test_a_link_to_a_recording_is_heard(tmp_path: Path, worker):
    (tmp_path / "a.wav").write_bytes(wav(SECOND, 48_000))
    (tmp_path / "link.wav").symlink_to(tmp_path / "a.wav")
    assert read_clip(tmp_path / "link.wav", worker=worker).info.name == "link.wav"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd.m4a", "passwd.m4a"),
        ("C:\\clips\\a.m4a", "a.m4a"),
        ("evil\x1b[2J\r\nname\u202e.m4a", "evil[2J name.m4a"),
        ("x" * 500 + ".m4a", "x" * 67 + "…" + "x" * 8 + ".m4a"),
        ("\x00\x01", "clip"),
    ],
)
def test_names_are_made_fit_to_show(name, shown, worker):
    with pytest.raises(UnreadableClip) as caught:
        read_clip(b"text", name=name, worker=worker)
    assert str(caught.value).startswith(f"{shown}: ")


def test_limits_of_size_and_length(tmp_path: Path, worker):
    data = wav(tone(8_000, 5.0), 8_000)
    with pytest.raises(UnreadableClip, match=r"more than the limit of|larger than the limit"):
        read_clip(data, limits=DecodeLimits(max_bytes=1000), worker=worker)
    path = tmp_path / "a.wav"
    path.write_bytes(data)
    with pytest.raises(UnreadableClip, match="more than the limit of"):
        read_clip(path, limits=DecodeLimits(max_bytes=1000), worker=worker)
    for warm in (worker, None):
        with pytest.raises(UnreadableClip, match=r"longer than the limit of 0\.001 hours"):
            read_clip(path, limits=DecodeLimits(max_duration_s=3.6), worker=warm)


def test_blocks_can_be_read_once(worker):
    with open_clip(wav(SECOND, 48_000), worker=worker) as clip:
        list(clip.blocks())
        with pytest.raises(BadParameter, match="once"):
            next(clip.blocks())


@pytest.mark.parametrize(
    "name", ["wav_16", "aiff", "caf_pcm", "flac", "mp3", "ogg_opus", "webm_opus", "amr_nb", "adts_aac"]
)
def test_truncated_files_are_heard_as_far_as_they_go(name, worker):
    rate_hz = 8_000 if name == "amr_nb" else 48_000
    data = encode(tone(rate_hz, 8.0), rate_hz, name)
    clip = read_clip(data[: int(0.6 * len(data)) + 3], worker=worker)
    assert 3.5 < clip.info.duration_s < 5.6
    assert "truncated" in [note.code for note in clip.notes]
    text = next(note.text for note in clip.notes if note.code == "truncated")
    assert f"{clip.info.duration_s:.1f} s" in text
    if name in ("wav_16", "aiff", "caf_pcm", "flac", "mp3"):
        assert "of about 8.0 s" in text


def test_truncated_recording_with_its_index_in_front(tmp_path: Path, worker):
    """A camera app that writes the index first, cut in transfer."""
    whole = encode(tone(48_000, 8.0), 48_000, "m4a_aac")
    path = tmp_path / "a.mp4"
    with (
        av.open(io.BytesIO(whole)) as source,
        av.open(str(path), "w", format="mp4", container_options={"movflags": "faststart"}) as target,
    ):
        stream = target.add_stream_from_template(source.streams.audio[0])
        for packet in source.demux(source.streams.audio[0]):
            if packet.dts is not None:
                packet.stream = stream
                target.mux(packet)
    data = path.read_bytes()
    assert data.find(b"moov") < data.find(b"mdat")
    clip = read_clip(data[: int(0.6 * len(data))], worker=worker)
    assert 3.5 < clip.info.duration_s < 5.6
    assert clip.notes[0].code == "truncated"
    assert "of about 8.0 s" in clip.notes[0].text
