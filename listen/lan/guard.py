"""Stand before everything that is served: only known hosts, and nobody without the PIN.

Both look at the raw connection, before any route, page, socket, upload or file
is reached. Open without a PIN are only the customer's pages (whose address is
the secret), the PIN's own form, and how to trust the certificate.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from urllib.parse import quote, urlsplit

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from listen.intake.limits import Rate
from listen.intake.web import HEADERS as _CUSTOMER_HEADERS
from listen.lan.authority import fingerprint
from listen.lan.pin import PASS_S, Passes

COOKIE = "listen_pass"
#: With no referrer at all a browser would send the form of the PIN without its origin.
HEADERS = {**_CUSTOMER_HEADERS, "Referrer-Policy": "same-origin"}
#: Wrong PINs from one address, and from all together, before nobody is asked any more for a while.
_WRONG_EACH, _WRONG_ALL, _WINDOW_S = 5, 60, 900.0
#: The customer's pages and nothing beside them; a shape that a router might read in another way fits none.
_OPEN = re.compile(r"/u/(look\.css|[A-Za-z0-9_-]{16,64}(/(first|form|send))?)")
_TRUST = ("/trust", "/trust/authority.crt")
_TEMPLATES = Path(__file__).parent / "templates"


class HostGuard:
    """Refuse every request whose `Host` is not one of ours: no foreign name can be pointed at the page."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] in ("http", "websocket") and _host(scope) not in self._hosts:
            await _refuse(scope, receive, send, PlainTextResponse("This address is not served here.", 421))
            return
        await self._app(scope, receive, send)


class PinGuard:
    """Let through who has shown the PIN; show its form to the others.

    Parameters
    ----------
    passes : Passes
    authority : Path or None
        Certificate offered under `/trust`.
    """

    def __init__(self, app: ASGIApp, passes: Passes, authority: Path | None = None) -> None:
        self._app = app
        self._passes = passes
        self._authority = authority
        self._each = Rate(_WRONG_EACH, _WINDOW_S)
        self._all = Rate(_WRONG_ALL, _WINDOW_S)
        self._pages = Environment(
            loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
            lstrip_blocks=True,
        )  # fmt: skip

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        path = scope["path"]
        if scope["type"] == "http" and path == "/pin":
            await (await self._pin(Request(scope, receive)))(scope, receive, send)
        elif scope["type"] == "http" and path in _TRUST and self._authority is not None:
            await self._trust(path, self._authority)(scope, receive, send)
        elif (scope["type"] == "http" and _OPEN.fullmatch(path)) or self._passes.holds(_cookie(scope)):
            await self._app(scope, receive, send)
        else:
            await _refuse(scope, receive, send, self._ask_first(scope))

    def _ask_first(self, scope: Scope) -> Response:
        headers = Headers(scope=scope)
        if scope["type"] == "http" and scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
            query = scope.get("query_string", b"").decode("latin-1")
            wanted = scope["path"] + (f"?{query}" if query else "")
            return RedirectResponse(f"/pin?to={quote(wanted, safe='')}", 303, headers=HEADERS)
        return PlainTextResponse("The PIN comes first.", 401, headers=HEADERS)

    async def _pin(self, request: Request) -> Response:
        to = _local(request.query_params.get("to", "/"))
        if request.method in ("GET", "HEAD"):
            return self._form(to)
        if request.method != "POST" or not _same_origin(request):
            return PlainTextResponse("Not like this.", 405, headers=HEADERS)
        address = request.client.host if request.client else ""
        if not self._each.allows(address, count=False) or not self._all.allows("", count=False):
            return self._form(to, "Too many wrong tries: wait a quarter of an hour.", 429)
        form = await request.form(max_files=0, max_fields=4)
        given = form.get("pin", "")
        if not isinstance(given, str) or not self._passes.fits("".join(given.split())):
            self._each.allows(address)
            self._all.allows("")
            return self._form(to, "That is not the PIN. It stands where the page was started.", 403)
        answer = RedirectResponse(to, 303, headers=HEADERS)
        answer.set_cookie(
            COOKIE, self._passes.give(), max_age=PASS_S, path="/", httponly=True, samesite="lax",
            secure=request.url.scheme == "https",
        )  # fmt: skip
        return answer

    def _form(self, to: str, trouble: str = "", status: int = 200) -> Response:
        html = self._pages.get_template("pin.html.j2").render(
            to=quote(to, safe=""), trouble=trouble, trust=self._authority is not None
        )
        return HTMLResponse(html, status, headers=HEADERS)

    def _trust(self, path: str, authority: Path) -> Response:
        if path == "/trust/authority.crt":
            return Response(
                authority.read_bytes(), media_type="application/x-x509-ca-cert",
                headers={**HEADERS, "Content-Disposition": "attachment; filename=listen-authority.crt"},
            )  # fmt: skip
        html = self._pages.get_template("trust.html.j2").render(fingerprint=fingerprint(authority))
        return HTMLResponse(html, headers=HEADERS)


async def _refuse(scope: Scope, receive: Receive, send: Send, answer: Response) -> None:
    if scope["type"] == "websocket":
        # Closed before it was accepted: the browser sees a refused connection.
        await receive()
        await send({"type": "websocket.close", "code": 4401, "reason": ""})
        return
    await answer(scope, receive, send)


def _host(scope: Scope) -> str:
    return (urlsplit(f"//{Headers(scope=scope).get('host', '')}").hostname or "").lower()


def _cookie(scope: Scope) -> str:
    cookies: SimpleCookie = SimpleCookie()
    try:
        cookies.load(Headers(scope=scope).get("cookie", ""))
    except CookieError:
        return ""
    return cookies[COOKIE].value if COOKIE in cookies else ""


def _local(to: str) -> str:
    """Return a path of this server; anything that leads elsewhere becomes the first page."""
    fine = to.startswith("/") and not to.startswith(("//", "/\\")) and to.isprintable()
    return to if fine else "/"


def _same_origin(request: Request) -> bool:
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host")
