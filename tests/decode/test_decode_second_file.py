"""No clip may make the decoder read a second file, by whatever format or name.

Each trap points at a real, loud recording beside it: if that were read, the
clip would be heard. The answer must be the plain refusal.
"""

import subprocess
import sys
from pathlib import Path
from struct import pack

import av
import pytest
from support.encode import encode, tone, wav

from listen.decode import read_clip
from listen.decode.launch import _roots
from listen.errors import ListenError, UnreadableClip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "other.wav").write_bytes(wav(tone(8_000, 2.0), 8_000))
    (tmp_path / "other.m4a").write_bytes(encode(tone(48_000, 2.0), 48_000, "m4a_aac"))
    return tmp_path


TRAPS = {
    "relative.ffconcat": "ffconcat version 1.0\nfile other.wav\n",
    "concat.txt": "file 'other.wav'\nfile 'other.m4a'\n",
    "absolute.m4a": "ffconcat version 1.0\nfile '{folder}/other.wav'\n",
    "list.m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\nother.m4a\n#EXT-X-ENDLIST\n",
    "hidden.mp4": "#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n{folder}/other.m4a\n#EXT-X-ENDLIST\n",
    "scheme.m4a": "#EXTM3U\n#EXTINF:2,\nfile://{folder}/other.m4a\n",
    "session.sdp": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 0\n",
    "manifest.mpd": '<?xml version="1.0"?><MPD><Period><AdaptationSet><Representation><BaseURL>other.m4a'
    "</BaseURL></Representation></AdaptationSet></Period></MPD>",
    "graph.txt": "amovie=other.wav\n",
    "numbers.txt": "other%d.wav\n",
    "play.pls": "[playlist]\nFile1=other.wav\nNumberOfEntries=1\n",
    "play.asx": "<asx version='3.0'><entry><ref href='other.wav'/></entry></asx>",
}


@pytest.mark.parametrize("name", TRAPS)
@pytest.mark.parametrize("warm", [False, True])
def test_lists_in_any_disguise(name, warm, folder, worker, monkeypatch):
    monkeypatch.chdir(folder)
    path = folder / name
    path.write_text(TRAPS[name].replace("{folder}", str(folder)))
    with pytest.raises(UnreadableClip, match=r"list that points to other files|text file"):
        read_clip(path, worker=worker if warm else None)


@pytest.mark.parametrize(
    "name",
    ["concat:other.wav|other.m4a", "file:other.wav", "subfile,,start,0,end,0,,:other.wav", "async:other.wav",
     "cache:other.wav", "pipe:0", "fd:0", "data:audio/wav;base64,UklGRg==", "http://127.0.0.1:9/a.wav", "-",
     "lavfi:sine", "crypto:other.wav", "other%d.wav", "unix:other"],
)  # fmt: skip
def test_names_are_only_names(name, folder, monkeypatch):
    monkeypatch.chdir(folder)
    with pytest.raises(UnreadableClip, match="there is no such file"):
        read_clip(name)


def test_a_file_with_a_protocol_in_its_name_is_just_a_file(folder, worker, monkeypatch):
    monkeypatch.chdir(folder)
    (folder / "concat:a|b").write_bytes(wav(tone(8_000, 1.0), 8_000))
    assert read_clip("concat:a|b", worker=worker).info.duration_s == pytest.approx(1.0)


def _box(kind: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return pack(">I4s", 8 + len(body), kind) + body


def _movie_with_outside_data(target: str) -> bytes:
    """Return a QuickTime movie whose sound lies in another file, by an alias data reference.

    Laid out after the QuickTime File Format (movie, track, media, sample and
    data reference atoms); the alias record carries the path in its tail.
    """
    name = target.rsplit("/", 1)[-1].encode()
    alias = bytearray(150)
    alias[4:8] = pack(">HH", 150, 2)
    alias[50] = len(name)
    alias[51 : 51 + len(name)] = name
    full = target.encode()
    alias += pack(">HH", 2, len(full)) + full + (b"\0" if len(full) & 1 else b"") + pack(">hH", -1, 0)
    n = 16_000
    entry = _box(b"sowt", bytes(6), pack(">H", 1), bytes(8), pack(">HHHHI", 1, 16, 0, 0, 8_000 << 16))
    stbl = _box(
        b"stbl",
        _box(b"stsd", bytes(4), pack(">I", 1), entry),
        _box(b"stts", bytes(4), pack(">III", 1, n, 1)),
        _box(b"stsc", bytes(4), pack(">IIII", 1, 1, n, 1)),
        _box(b"stsz", bytes(4), pack(">II", 2, n)),
        _box(b"stco", bytes(4), pack(">II", 1, 44)),
    )
    dinf = _box(b"dinf", _box(b"dref", bytes(4), pack(">I", 1), _box(b"alis", bytes(4), bytes(alias))))
    minf = _box(b"minf", _box(b"smhd", bytes(8)), dinf, stbl)
    mdhd = _box(b"mdhd", bytes(12), pack(">II", 8_000, n), bytes(4))
    hdlr = _box(b"hdlr", bytes(4), b"mhlrsoun", bytes(13))
    tkhd = _box(b"tkhd", pack(">I", 7), bytes(8), pack(">I", 1), bytes(4), pack(">I", n), bytes(60))
    mvhd = _box(b"mvhd", bytes(12), pack(">II", 8_000, n), bytes(80))
    moov = _box(b"moov", mvhd, _box(b"trak", tkhd, _box(b"mdia", mdhd, hdlr, minf)))
    return _box(b"ftyp", b"qt  ", bytes(4), b"qt  ") + moov


@pytest.mark.parametrize("absolute", [False, True])
@pytest.mark.parametrize("warm", [False, True])
def test_movie_with_its_sound_in_another_file(absolute, warm, folder, worker, monkeypatch):
    monkeypatch.chdir(folder)
    target = str(folder / "other.wav") if absolute else "other.wav"
    (folder / "trap.mov").write_bytes(_movie_with_outside_data(target))
    with pytest.raises(ListenError, match=r"trap\.mov: "):
        read_clip(folder / "trap.mov", worker=worker if warm else None)


def test_the_movie_trap_is_a_real_one(folder, monkeypatch):
    """Left to itself the decoder library does follow that reference: the refusal above is ours."""
    monkeypatch.chdir(folder)
    path = folder / "trap.mov"
    path.write_bytes(_movie_with_outside_data(str(folder / "other.wav")))
    options = {"enable_drefs": "1", "use_absolute_path": "1"}
    with av.open(str(path), format="mov", container_options=options) as container:
        n = sum(frame.samples for frame in container.decode(audio=0))
    assert n > 8_000


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_nothing_can_be_opened_once_a_clip_is_read():
    """The child's own last door: with its limits set, no further file opens."""
    code = (
        f"import sys; sys.path.extend({list(_roots())!r})\n"
        "from listen.decode import guard\n"
        "guard.before_clip(1 << 29, 5)\n"
        "try:\n    open('/etc/hostname')\nexcept OSError as error:\n    print(error.errno)\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", code], capture_output=True, text=True, check=True, timeout=30
    )
    assert done.stdout.strip() == "24"  # EMFILE: too many open files
