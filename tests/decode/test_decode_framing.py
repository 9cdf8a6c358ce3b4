"""The frame parser: any split gives the same frames, any nonsense gives a plain error."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.decode.framing import (
    MAX_JSON,
    MAX_PAYLOAD,
    PREFIX,
    TAGS,
    FrameParser,
    FramingError,
    pack,
    pack_json,
)
from listen.decode.framing import unpack_json as unpack

FRAMES = st.lists(st.tuples(st.sampled_from(TAGS), st.binary(max_size=200)), max_size=12)


@given(frames=FRAMES, cuts=st.lists(st.integers(1, 50), max_size=60))
def test_any_split_gives_the_same_frames(frames, cuts):
    stream = b"".join(pack(tag, payload) for tag, payload in frames)
    parser, found, at = FrameParser(), [], 0
    for length in [*cuts, len(stream)]:
        found += parser.feed(stream[at : at + length])
        at += length
    assert found == frames
    assert parser.complete


@given(frames=FRAMES, lost=st.integers(1, 100))
def test_a_cut_stream_is_never_complete(frames, lost):
    stream = b"".join(pack(tag, payload) for tag, payload in frames)
    cut = stream[: max(0, len(stream) - lost)]
    parser = FrameParser()
    found = list(parser.feed(cut))
    assert found == frames[: len(found)]
    assert parser.complete == (sum(PREFIX.size + len(p) for _, p in found) == len(cut))


@given(st.binary(max_size=400))
def test_any_bytes_give_frames_or_the_error(data):
    parser = FrameParser()
    try:
        for tag, payload in parser.feed(data):
            assert tag in TAGS
            assert len(payload) <= len(data)
    except FramingError:
        return


@given(st.binary(max_size=100))
def test_any_payload_is_an_object_or_the_error(payload):
    try:
        assert isinstance(unpack(payload), dict)
    except FramingError:
        return


VALUES = st.one_of(
    st.integers(), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=5), st.none()
)


@given(st.dictionaries(st.text(max_size=5), VALUES, max_size=5))
def test_messages_come_back(message):
    parser = FrameParser()
    ((tag, payload),) = parser.feed(pack_json(b"E", message))
    assert tag == b"E"
    assert unpack(payload) == json.loads(json.dumps(message))


@pytest.mark.parametrize(
    "data", [PREFIX.pack(b"B", MAX_PAYLOAD + 1), PREFIX.pack(b"H", MAX_JSON + 1), PREFIX.pack(b"Z", 1)]
)
def test_lying_lengths_and_tags_are_refused_before_they_are_read(data):
    with pytest.raises(FramingError):
        list(FrameParser().feed(data))


def test_what_is_too_long_is_not_packed():
    with pytest.raises(FramingError):
        pack(b"B", bytes(MAX_PAYLOAD + 1))
    with pytest.raises(FramingError):
        pack(b"Q", b"")
    with pytest.raises(FramingError):
        unpack(b"[" * 100_000)
