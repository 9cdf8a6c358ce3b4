"""What goes between a server and its hearing processes: a line of JSON, then bytes as they are.

Nouns travel as plain values and are built again by the field types of their
dataclass, so that nothing a process answers can run as code in the server.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import IO, Any

#: A line longer than this is not ours.
_LONGEST_LINE = 64_000_000


class Broken(Exception):
    """The other side has ended, or wrote what cannot be read."""


def send(stream: IO[bytes], head: Mapping[str, Any], *blobs: bytes) -> None:
    """Write one message.

    Raises
    ------
    OSError
        When the other side is gone.
    """
    line = json.dumps({**head, "blobs": [len(blob) for blob in blobs]})
    stream.write(line.encode() + b"\n")
    for blob in blobs:
        stream.write(blob)
    stream.flush()


def receive(stream: IO[bytes]) -> tuple[dict[str, Any], list[bytes]]:
    """Read one message.

    Raises
    ------
    Broken
        At the end, in the midst of a message, or at nonsense.
    """
    line = stream.readline(_LONGEST_LINE)
    if not line.endswith(b"\n"):
        raise Broken("ended")
    try:
        head = json.loads(line)
        sizes = [int(size) for size in head.pop("blobs")]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise Broken("nonsense") from error
    blobs = [stream.read(size) for size in sizes]
    if [len(blob) for blob in blobs] != sizes:
        raise Broken("cut off")
    return head, blobs


def pack(value: Any) -> Any:
    """Turn a dataclass, with all it holds, into values of JSON.

    >>> from listen.types import StoryMark
    >>> pack((StoryMark(1.5, "brew_on"),))
    [{'at_s': 1.5, 'word': 'brew_on'}]
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: pack(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): pack(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [pack(item) for item in value]
    if hasattr(value, "item"):
        return value.item()  # a number of numpy's
    return value


def unpack(kind: Any, value: Any) -> Any:
    """Build a value of a type again from what :func:`pack` made of it.

    Parameters
    ----------
    kind : type
        A dataclass, or the type of a field as it is written there.
    value : object

    Raises
    ------
    Broken
        When the value is not of that type.

    Examples
    --------
    >>> from listen.types import StoryMark
    >>> unpack(tuple[StoryMark, ...], [{"at_s": 1.5, "word": "brew_on"}])
    (StoryMark(at_s=1.5, word='brew_on'),)
    """
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        if value is None and type(None) in parts:
            return None
        return unpack(next(part for part in parts if part is not type(None)), value)
    if isinstance(kind, type) and is_dataclass(kind):
        if not isinstance(value, dict):
            raise Broken(f"no {kind.__name__}")
        hints = _hints(kind)
        try:
            return kind(**{name: unpack(hints[name], item) for name, item in value.items()})
        except (KeyError, TypeError) as error:
            raise Broken(f"no {kind.__name__}") from error
    if origin is tuple:
        if not isinstance(value, list):
            raise Broken("no list")
        each = [parts[0]] * len(value) if parts[-1] is Ellipsis else list(parts)
        if len(each) != len(value):
            raise Broken("too few or too many")
        return tuple(unpack(part, item) for part, item in zip(each, value, strict=True))
    if isinstance(origin, type) and issubclass(origin, Mapping):
        if not isinstance(value, dict):
            raise Broken("no mapping")
        return types.MappingProxyType({key: unpack(parts[1], item) for key, item in value.items()})
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if isinstance(kind, type) and not isinstance(value, kind):
        raise Broken(f"no {kind.__name__}")
    return value


@cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)
