"""Nobody reaches anything without the PIN, and only known hosts are answered."""

import re
from urllib.parse import quote

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute

from listen.errors import BadParameter
from listen.lan.guard import COOKIE
from listen.lan.pin import Passes, load_pin
from listen.lan.stack import guards
from tests.support.asgi import ask, socket_is_refused

#: Pages, socket, media, uploads, health, metrics, static files, and shapes that routers read in several ways.
ROUTES = [
    "/", "/_stcore/stream", "/_stcore/health", "/_stcore/metrics", "/_stcore/upload_file/a/b", "/media/x.wav", "/static/js/main.js",
    "/component/a/b", "/_stcore/host-config", "/u", "/u/../media/x.wav", "/u//media/x", "/trust/../media/x", "/pin/x", "/U/x", "/%2e", "/u/x", "/u/AAAAAAAAAAAAAAAAAAAAAA/media", "/trust/",
]  # fmt: skip


async def _everything(request):
    return PlainTextResponse("inside")


async def _socket(socket):
    await socket.accept()
    await socket.close()


@pytest.fixture
def app(tmp_path):
    folder = tmp_path / "lan"
    load_pin(folder, new="402975")
    (folder / "authority.pem").write_text("")
    found = guards(hosts=("127.0.0.1", "192.168.7.20"), lan=str(folder))
    routes = [
        WebSocketRoute("/{path:path}", _socket),
        Route("/{path:path}", _everything, methods=["GET", "POST", "PUT", "DELETE"]),
    ]
    return Starlette(routes=routes, middleware=found)


def enter(app, pin="402975", **more):
    return ask(app, "/pin?to=%2Fx", method="POST", form={"pin": pin}, **more)


def cookie(answer):
    return {"cookie": answer.headers["set-cookie"].split(";")[0]}


@pytest.mark.parametrize("path", ROUTES)
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE", "OPTIONS", "HEAD"])
def test_no_route_opens_without_the_pin(app, path, method):
    answer = ask(app, path, method=method, headers={"accept": "*/*"})
    assert answer.status == 401 and b"inside" not in answer.body


@pytest.mark.parametrize("path", [*ROUTES, "/pin", "/trust", "/u/AAAAAAAAAAAAAAAAAAAAAA"])
def test_no_socket_opens_without_the_pin(app, path):
    assert socket_is_refused(app, path)


def test_a_browser_is_led_to_the_pin_and_back(app):
    answer = ask(app, "/?machine=front")
    assert (answer.status, answer.headers["location"]) == (
        303,
        f"/pin?to={quote('/?machine=front', safe='')}",
    )
    form = ask(app, answer.headers["location"])
    assert form.status == 200 and 'name="pin"' in form.text and "<script" not in form.text
    given = enter(app)
    assert (given.status, given.headers["location"]) == (303, "/x")
    for path in ROUTES[:9]:
        assert ask(app, path, headers=cookie(given)).body == b"inside"
    assert not socket_is_refused(app, "/_stcore/stream", cookie(given))


def test_the_pass_is_kept_from_scripts_and_from_plain_connections(app):
    flags = enter(app, scheme="https").headers["set-cookie"].lower()
    assert "httponly" in flags and "secure" in flags and "samesite=lax" in flags


@pytest.mark.parametrize(
    "to", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:1", "/a\nb"]
)
def test_nobody_is_led_elsewhere(app, to):
    answer = ask(app, f"/pin?to={quote(to, safe='')}", method="POST", form={"pin": "402975"})
    assert answer.headers["location"] == "/"


def test_guessing_ends(app):
    assert [enter(app, f"00000{n}").status for n in range(5)] == [403] * 5
    assert enter(app, "402975").status == 429  # the right one as well: else the answer tells
    assert enter(app, "402975", client="192.168.1.77").status == 303


def test_guessing_from_many_addresses_ends_too(app):
    statuses = [enter(app, "111222", client=f"10.0.{n // 250}.{n % 250}").status for n in range(70)]
    assert statuses.count(403) == 60 and statuses[-1] == 429


def test_another_site_cannot_send_the_pin(app):
    assert enter(app, headers={"origin": "https://evil.example"}).status == 405
    assert enter(app, headers={"origin": "null"}).status == 405
    # So that a browser names the origin of the form (Referrer Policy, W3C: `no-referrer` makes it null).
    assert ask(app, "/pin").headers["referrer-policy"] == "same-origin"
    assert enter(app, headers={"origin": "http://127.0.0.1:8741"}).status == 303


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8741", "", "127.0.0.1.evil.example", "192.168.7.21"]
)
def test_a_foreign_host_is_not_answered(app, host):
    assert ask(app, "/", headers={**cookie(enter(app)), "host": host}).status == 421
    assert socket_is_refused(app, "/_stcore/stream", {**cookie(enter(app)), "host": host})


def test_a_pass_is_not_forged_nor_good_for_ever(tmp_path):
    clock = [1_000_000.0]
    passes = Passes(tmp_path, "402975", clock=lambda: clock[0])
    given = passes.give()
    assert passes.holds(given)
    end, nonce, signature = given.split(".")
    for forged in (
        "",
        "..",
        f"{int(end) + 9}.{nonce}.{signature}",
        f"{end}.{nonce}.{'0' * 64}",
        f"{end}.{nonce}.é",
    ):
        assert not passes.holds(forged)
    assert not Passes(tmp_path, "402976", clock=lambda: clock[0]).holds(given)  # another PIN ends every pass
    clock[0] += 31 * 24 * 3600
    assert not passes.holds(given)


def test_the_pin_is_made_once_and_can_be_changed(tmp_path):
    made = load_pin(tmp_path)
    assert re.fullmatch(r"\d{6}", made) and load_pin(tmp_path) == made
    assert load_pin(tmp_path, new="402975") == load_pin(tmp_path) == "402975"


@pytest.mark.parametrize("new", ["12345", "abcdef", "123456", "111111", "654321", "121212", "1234567"])
def test_a_weak_pin_is_refused(tmp_path, new):
    with pytest.raises(BadParameter, match="choose another"):
        load_pin(tmp_path, new=new)


def test_without_the_network_there_is_no_pin_but_hosts_are_still_checked():
    app = Starlette(routes=[Route("/", _everything)], middleware=guards(hosts=("127.0.0.1",), lan=None))
    assert ask(app, "/").body == b"inside"
    assert ask(app, "/", headers={"host": "evil.example"}).status == 421
    assert COOKIE not in str(ask(app, "/").headers)
