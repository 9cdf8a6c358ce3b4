"""Ask an ASGI application directly: requests with cookies, forms and files; sockets that may be refused."""

from __future__ import annotations

import asyncio
import secrets
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from urllib.parse import urlencode, urlsplit


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")


def _run(coroutine):
    """Run to its end in a thread of its own: browser tests leave a running loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, coroutine).result()


def multipart(fields, files):
    """Return body and content type of a form with (field, file name, bytes)."""
    mark = secrets.token_hex(12)
    parts = [
        f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields
    ]
    for name, file_name, data in files:
        head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n'
        parts.append(head.encode() + b"Content-Type: application/octet-stream\r\n\r\n" + data + b"\r\n")
    return b"".join(parts) + f"--{mark}--\r\n".encode(), f"multipart/form-data; boundary={mark}"


def ask(
    app,
    url,
    *,
    method="GET",
    headers=None,
    form=None,
    body=b"",
    content_type="",
    client="192.168.1.9",
    scheme="http",
    blocks=None,
):
    """Send one request; `blocks` (an iterable of bytes) is sent without a length."""
    parts = urlsplit(url)
    if form is not None:
        body, content_type = urlencode(form).encode(), "application/x-www-form-urlencoded"
    sent = {"host": "127.0.0.1:8741", "accept": "text/html", **(headers or {})}
    if content_type:
        sent["content-type"] = content_type
    if blocks is None:
        sent.setdefault("content-length", str(len(body)))
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": scheme, "path": parts.path,
        "raw_path": parts.path.encode(), "query_string": parts.query.encode(), "root_path": "", "client": (client, 5000),
        "server": ("127.0.0.1", 8741), "headers": [(k.lower().encode(), v.encode()) for k, v in sent.items()], "state": {},
    }  # fmt: skip
    stream = iter(blocks) if blocks is not None else iter([body])

    async def receive():
        try:
            return {"type": "http.request", "body": next(stream), "more_body": True}
        except StopIteration:
            return {"type": "http.request", "body": b"", "more_body": False}

    out = {"status": 0, "headers": {}, "body": b""}

    async def send(message):
        if message["type"] == "http.response.start":
            out["status"] = message["status"]
            out["headers"] = {k.decode().lower(): v.decode() for k, v in message["headers"]}
        elif message["type"] == "http.response.body":
            out["body"] += message.get("body", b"")

    _run(app(scope, receive, send))
    return Answer(**out)


def socket_is_refused(app, path, headers=None):
    """Tell whether a websocket is closed before it is accepted."""
    sent = {"host": "127.0.0.1:8741", **(headers or {})}
    scope = {
        "type": "websocket", "asgi": {"version": "3.0"}, "scheme": "ws", "path": path, "raw_path": path.encode(), "query_string": b"",
        "root_path": "", "client": ("192.168.1.9", 5000), "server": ("127.0.0.1", 8741), "subprotocols": [],
        "headers": [(k.encode(), v.encode()) for k, v in sent.items()], "state": {},
    }  # fmt: skip
    sent_back = []

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent_back.append(message["type"])

    _run(app(scope, receive, send))
    return sent_back == ["websocket.close"]
