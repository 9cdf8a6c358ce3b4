"""The customer's pages under `/u/TOKEN`: plain forms, no scripts, nothing from outside."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from listen.bench import first_minute_questions
from listen.errors import ListenError
from listen.intake.alarm import Alarm, alarm, answers_from
from listen.intake.limits import MEGABYTE, Limits, Rate
from listen.intake.links import Link, Links
from listen.intake.receive import Message, NotTaken, arrived, message_of
from listen.intake.texts import texts
from listen.report.words import sentences

if TYPE_CHECKING:
    from listen.library import Library
    from listen.library.records import IntakeRecord

_HERE = Path(__file__).parent
#: No script, nothing from elsewhere, no frame around it; the token in the address is told to nobody.
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "X-Robots-Tag": "noindex, nofollow",
}
#: So many messages are read into memory and stored at once; the next ones wait their turn, on the disk.
_AT_ONCE = 3
_log = logging.getLogger(__name__)


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(_HERE / "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip


class CustomerPages:
    """The routes, with what they share.

    Parameters
    ----------
    library : callable
        Returns the open library.
    on_message : callable
        Called after a message was stored.
    limits : Limits
    """

    def __init__(
        self,
        library: Callable[[], Library],
        *,
        on_message: Callable[[], None] = lambda: None,
        limits: Limits | None = None,
    ) -> None:
        self._library = library
        self._on_message = on_message
        self._limits = limits or Limits()
        self._asks = Rate(self._limits.asks_per_min, 60.0)
        self._wrong = Rate(self._limits.wrong_per_hour, 3600.0)
        self._turn = asyncio.Semaphore(_AT_ONCE)
        self._arriving = asyncio.Semaphore(self._limits.arriving)

    def routes(self) -> list[BaseRoute]:
        """Return the routes to mount beside the page."""
        return [
            Route("/u/look.css", self._look),
            Route("/u/{token}", self._or_sentence(self._open), methods=["GET"]),
            Route("/u/{token}/first", self._or_sentence(self._first), methods=["POST"]),
            Route("/u/{token}/form", self._or_sentence(self._after_stop), methods=["POST"]),
            Route("/u/{token}/send", self._or_sentence(self._send), methods=["POST"]),
        ]

    def _or_sentence(
        self, page: Callable[[Request], Awaitable[Response]]
    ) -> Callable[[Request], Awaitable[Response]]:
        """Answer with a sentence where the disk or the database fails: the shop reads why in its log."""

        async def answer(request: Request) -> Response:
            try:
                return await page(request)
            except (ListenError, OSError) as error:
                _log.error("A customer's message could not be taken: %s", error)
                return self._page("sentence", status=503, sentence=texts()["not_kept"])

        return answer

    # Pages -------------------------------------------------------------------------------------

    async def _look(self, request: Request) -> Response:
        css = (_HERE / "look.css").read_text(encoding="utf-8")
        return Response(css, media_type="text/css", headers={**HEADERS, "Cache-Control": "max-age=600"})

    async def _open(self, request: Request) -> Response:
        link, refused = await self._link(request)
        if link is None:
            return refused
        record = await run_in_threadpool(self._record, link, "message")
        if record is not None:
            return self._page("receipt", record=record, stop=_words(record))
        if link.expired():
            return self._page("sentence", status=410, sentence=texts()["expired"])
        warned = await run_in_threadpool(self._record, link, "alarm")
        return self._ask(request, stop=_words(warned) if warned else [])

    async def _first(self, request: Request) -> Response:
        link, refused = await self._link(request, fresh=True)
        if link is None:
            return refused
        form = await request.form(max_files=0, max_fields=20)
        ticked = [value for value in form.getlist("danger") if isinstance(value, str)]
        answers = answers_from(ticked, none_of_these="none" in form)
        if "yes" not in answers.values():
            if "none" not in form:
                return self._ask(request, trouble=texts()["nothing_ticked"])
            return self._form(request, answers)
        found = await run_in_threadpool(alarm, answers)
        receipt, stored = "", True
        try:
            receipt = await run_in_threadpool(self._store_alarm, link, answers)
        except (ListenError, OSError) as error:
            # What to do first is said whatever became of the message.
            _log.error("A customer's alarm could not be stored: %s", error)
            stored = False
        return self._page(
            "stop", token=request.path_params["token"], stop=sentences(found.say_first), receipt=receipt, stored=stored,
            ticked=[name for name, answer in answers.items() if answer == "yes"],
        )  # fmt: skip

    async def _after_stop(self, request: Request) -> Response:
        """Show the form to somebody who was told to stop: for what exists already, without how to record."""
        link, refused = await self._link(request, fresh=True)
        if link is None:
            return refused
        form = await request.form(max_files=0, max_fields=20)
        ticked = [value for value in form.getlist("danger") if isinstance(value, str)]
        return self._form(request, answers_from(ticked, none_of_these=False), stopped=True)

    async def _send(self, request: Request) -> Response:
        link, refused = await self._link(request, fresh=True)
        if link is None:
            return refused
        token = request.path_params["token"]
        if self._arriving.locked():
            return self._page("sentence", status=503, sentence=texts()["busy"], back=token)
        try:
            # A slow sender holds a place on the disk, not a turn: nobody waits for them.
            async with self._arriving, arrived(request, self._limits) as form, self._turn:
                stored = await run_in_threadpool(self._store, link, await message_of(form, self._limits))
        except NotTaken as error:
            return self._page("sentence", status=error.status, sentence=str(error), back=token)
        if stored:
            self._on_message()
        # A second sender of the same link finds the receipt of the first.
        return RedirectResponse(f"/u/{token}", status_code=303, headers=HEADERS)

    # What they share -----------------------------------------------------------------------------

    async def _link(self, request: Request, *, fresh: bool = False) -> tuple[Link | None, Response]:
        """Return the link of a request, or the page that refuses it."""
        address = request.client.host if request.client else ""
        if not self._asks.allows(address) or not self._wrong.allows(address, count=False):
            return None, self._page("sentence", status=429, sentence=texts()["too_many"])
        links = await run_in_threadpool(self._links)
        link = await run_in_threadpool(links.find, request.path_params["token"])
        if link is None:
            self._wrong.allows(address)
            return None, self._page("sentence", status=404, sentence=texts()["unknown"])
        if fresh:
            if await run_in_threadpool(links.receipt, link, "message"):
                return None, RedirectResponse(
                    f"/u/{request.path_params['token']}", status_code=303, headers=HEADERS
                )
            if link.expired():
                return None, self._page("sentence", status=410, sentence=texts()["expired"])
        return link, Response()

    def _links(self) -> Links:
        return Links(self._library().place.home)

    def _record(self, link: Link, purpose: str) -> IntakeRecord | None:
        receipt = self._links().receipt(link, purpose)
        try:
            return self._library().intake.get(receipt) if receipt else None
        except ListenError:
            return None  # deleted on request

    def _store_alarm(self, link: Link, answers: dict[str, str]) -> str:
        links, library = self._links(), self._library()
        if not links.claim(link, "alarm"):
            return links.receipt(link, "alarm")
        return self._keep(links, link, "alarm", library, {"answers": answers, "level": "stop"})

    def _store(self, link: Link, message: Message) -> bool:
        links, library = self._links(), self._library()
        if not links.claim(link, "message"):
            return False
        answers = answers_from(list(message.ticked), none_of_these=message.none_of_these)
        self._keep(
            links, link, "message", library,
            {
                "answers": answers, "level": alarm(answers, said=message.said).level, "sender": message.sender,
                "contact": message.contact, "said": message.said, "consent": message.consent, "files": message.files,
            },
        )  # fmt: skip
        return True

    def _keep(self, links: Links, link: Link, purpose: str, library: Library, values: dict[str, Any]) -> str:
        try:
            machine = link.machine if any(m.id == link.machine for m in library.machines.all()) else None
            record = library.intake.add(machine=machine, link=link.hash, **values)
        except BaseException:
            links.release(link, purpose)
            raise
        links.settle(link, purpose, record.receipt)
        return record.receipt

    def _ask(self, request: Request, *, trouble: str = "", stop: list[str] | None = None) -> Response:
        return self._page(
            "first", token=request.path_params["token"], questions=first_minute_questions(), trouble=trouble, stop=stop or [],
        )  # fmt: skip

    def _form(self, request: Request, answers: dict[str, str], *, stopped: bool = False) -> Response:
        return self._page("form", token=request.path_params["token"], answers=answers, stopped=stopped)

    def _page(self, name: str, *, status: int = 200, **values: Any) -> Response:
        limits = {
            "n_clips": self._limits.n_clips, "n_pictures": self._limits.n_pictures,
            "file_mb": self._limits.file_bytes // MEGABYTE,
        }  # fmt: skip
        html = _environment().get_template(f"{name}.html.j2").render(texts=texts(), limits=limits, **values)
        return HTMLResponse(html, status_code=status, headers=HEADERS)


def _words(record: IntakeRecord) -> list[str]:
    """Return what to do first by what a stored message says, sentence by sentence."""
    told: Alarm = alarm(record.answers, said=record.said)
    return sentences(told.say_first) if told.say_first else []
