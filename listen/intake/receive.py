"""Take a customer's form apart: counted while it arrives, nothing kept of what is too much."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request

from listen.errors import ListenError
from listen.intake.limits import MEGABYTE, Limits
from listen.intake.pictures import looks_like_picture
from listen.intake.texts import texts, told
from listen.report.plain import plain_text

#: Around the files: fields, boundaries and headers of the parts.
_OVERHEAD_BYTES = 200_000


class NotTaken(ListenError):
    """A form cannot be taken; the message is for the customer."""

    def __init__(self, sentence: str, status: int = 400) -> None:
        super().__init__(sentence)
        self.status = status


@dataclass(frozen=True, slots=True)
class Message:
    """What a customer sends, before it is stored.

    Attributes
    ----------
    files : tuple of (name, bytes, kind)
        Kind `audio` or `picture`, by the first bytes; decoding has the last word later.
    """

    sender: str
    contact: str
    said: str
    consent: str
    ticked: tuple[str, ...]
    none_of_these: bool
    files: tuple[tuple[str, bytes, str], ...]


@asynccontextmanager
async def arrived(request: Request, limits: Limits) -> AsyncIterator[FormData]:
    """Wait for the multipart form of a request; its files lie on the disk until the end of the block.

    Raises
    ------
    NotTaken
        Too large, too many, cut off, or far too slow.
    """
    most = limits.total_bytes + _OVERHEAD_BYTES
    too_large = NotTaken(texts()["too_large"].format(total_mb=limits.total_bytes // MEGABYTE), 413)
    try:
        announced = int(request.headers.get("content-length", "0"))
    except ValueError:
        raise NotTaken(texts()["unreadable"]) from None
    if announced > most:
        raise too_large
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise NotTaken(texts()["unreadable"], 415)

    n_bytes = 0

    async def counted() -> Any:
        nonlocal n_bytes
        async for block in request.stream():
            n_bytes += len(block)
            if n_bytes > most:
                raise too_large
            yield block

    parser = MultiPartParser(
        request.headers,
        counted(),
        max_files=limits.n_clips + limits.n_pictures + 2,
        max_fields=40,
        max_part_size=8 * limits.text_chars,
    )
    try:
        async with asyncio.timeout(limits.arrival_s):
            form = await parser.parse()
    except TimeoutError as error:
        raise NotTaken(texts()["unreadable"], 408) from error
    except (MultiPartException, ClientDisconnect, ValueError) as error:
        raise NotTaken(texts()["unreadable"]) from error
    try:
        yield form
    finally:
        await form.close()


async def message_of(form: FormData, limits: Limits) -> Message:
    """Read a form into memory.

    Raises
    ------
    NotTaken
        A file is too large, there are too many, or nothing is in it.
    """

    def text(name: str, longest: int = limits.text_chars) -> str:
        value = form.get(name, "")
        return plain_text(value, longest=longest) if isinstance(value, str) else ""

    files = []
    for item in (*form.getlist("clips"), *form.getlist("pictures")):
        if not isinstance(item, UploadFile):
            continue
        data = await item.read()
        if not data:
            continue
        if len(data) > limits.file_bytes:
            raise NotTaken(texts()["too_large"].format(total_mb=limits.file_bytes // MEGABYTE), 413)
        kind = "picture" if looks_like_picture(data) else "audio"
        files.append((plain_text(item.filename or kind, longest=80) or kind, data, kind))
    for kind, most in (("audio", limits.n_clips), ("picture", limits.n_pictures)):
        if sum(file[2] == kind for file in files) > most:
            raise NotTaken(
                texts()["clips_note"].format(n_clips=limits.n_clips, file_mb=limits.file_bytes // MEGABYTE)
            )
    said = told({question["id"]: text(question["id"]) for question in texts()["question"]})
    if not files and not said:
        raise NotTaken(texts()["nothing_sent"])
    consents = [one["id"] for one in texts()["consent_choices"]]
    consent = text("consent")
    return Message(
        sender=text("sender", 120), contact=text("contact", 200), said=said,
        consent=consent if consent in consents else consents[0],
        ticked=tuple(value for value in form.getlist("danger") if isinstance(value, str)),
        none_of_these=text("none") == "1", files=tuple(files),
    )  # fmt: skip
