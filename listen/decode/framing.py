"""The wire between the decoding child and the parent: length-prefixed frames.

A frame is one tag byte, a little-endian 32-bit length and the payload. Tags:

`H`  JSON: sample rate and codec, once, after the first decoded frame
`B`  samples: :data:`BLOCK` (format, packed, channels, frames), then the samples
`E`  JSON: how the stream ended, once
`X`  JSON: why there is nothing (more) to hear: a code, never a sentence

Both ends use this module. It needs the standard library only: the child
imports nothing that it does not need. The parent trusts no length, tag or
number in it, because a file that takes over the decoder could write here.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from struct import Struct

PREFIX = Struct("<cI")
BLOCK = Struct("<BBBxI")
TAGS = (b"H", b"B", b"E", b"X")
MAX_PAYLOAD = 8 << 20
MAX_JSON = 64 << 10
MAX_CHANNELS = 8

#: Sample formats by their number on the wire: name, bytes a sample.
FORMATS = (("u8", 1), ("s16", 2), ("s32", 4), ("s64", 8), ("flt", 4), ("dbl", 8))
FORMAT_NUMBER = {name: number for number, (name, _) in enumerate(FORMATS)}


class FramingError(ValueError):
    """The bytes are not frames of this protocol."""


def pack(tag: bytes, payload: bytes) -> bytes:
    """Return one frame.

    Raises
    ------
    FramingError
        When the tag is unknown or the payload is too long.
    """
    if tag not in TAGS:
        raise FramingError(f"unknown tag {tag!r}")
    if len(payload) > (MAX_PAYLOAD if tag == b"B" else MAX_JSON):
        raise FramingError(f"payload of {len(payload)} bytes is too long")
    return PREFIX.pack(tag, len(payload)) + payload


def pack_json(tag: bytes, message: dict) -> bytes:
    """Return one frame with a JSON object."""
    return pack(tag, json.dumps(message, allow_nan=False).encode())


def unpack_json(payload: bytes) -> dict:
    """Return the JSON object of a payload.

    Raises
    ------
    FramingError
        When the payload is anything else.
    """
    try:
        message = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise FramingError("a message is not JSON") from error
    if not isinstance(message, dict):
        raise FramingError("a message is not an object")
    return message


class FrameParser:
    """Cut a byte stream into frames, however it is split on the way.

    Examples
    --------
    >>> parser = FrameParser()
    >>> stream = pack(b"E", b"{}")
    >>> list(parser.feed(stream[:3])), list(parser.feed(stream[3:])), parser.complete
    ([], [(b'E', b'{}')], True)
    """

    def __init__(self) -> None:
        self._buffer = bytearray()

    @property
    def complete(self) -> bool:
        """True when no part of a frame is waiting for its rest."""
        return not self._buffer

    def feed(self, data: bytes) -> Iterator[tuple[bytes, bytes]]:
        """Take bytes and yield every frame they complete.

        Raises
        ------
        FramingError
            At an unknown tag or a length over the limit.
        """
        self._buffer += data
        while len(self._buffer) >= PREFIX.size:
            tag, length = PREFIX.unpack_from(self._buffer)
            if tag not in TAGS:
                raise FramingError(f"unknown tag {tag!r}")
            if length > (MAX_PAYLOAD if tag == b"B" else MAX_JSON):
                raise FramingError(f"payload of {length} bytes is too long")
            end = PREFIX.size + length
            if len(self._buffer) < end:
                return
            payload = bytes(memoryview(self._buffer)[PREFIX.size : end])
            del self._buffer[:end]
            yield tag, payload
