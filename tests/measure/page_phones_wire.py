"""How fast the server alone answers twenty phones: each speaks the page's own protocol and draws nothing.

Run: ``python -m tests.measure.page_phones_wire [N]``. Beside
`tests.measure.page_phones`, whose phones are tabs that draw on the server's own
processors: real phones draw for themselves.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import threading
import time
import urllib.request
import uuid
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urljoin

from tests.browser.conftest import _served, as_wav

_COOKIE = "_streamlit_xsrf"
_LONGEST_S = 120.0
#: How the card of a verdict begins; its name alone stands in the style as well.
_VERDICT = 'class="bp bp-card bp-verdict'


class Phone:
    """One phone: a session on the page's socket, the widgets it has been shown, and the cards."""

    def __init__(self, url: str) -> None:
        from websockets.sync.client import connect

        self._url = url
        with urllib.request.urlopen(f"{url}/_stcore/health") as answer:
            cookies = answer.headers.get_all("set-cookie") or []
        self._token = next(one.split(";")[0].split("=", 1)[1] for one in cookies if one.startswith(_COOKIE))
        self._open = ExitStack()
        socket = connect(
            url.replace("http", "ws") + "/_stcore/stream", origin=url, max_size=None, ping_interval=None, subprotocols=["streamlit"],
            additional_headers={"Cookie": f"{_COOKIE}={self._token}"},
        )  # fmt: skip
        self._socket = self._open.enter_context(socket)
        self.widgets: dict[str, str] = {}
        self.html = ""
        self._session = ""
        self._page_hash = ""
        self._urls = None
        self._rerun()

    def _send(self, message) -> None:
        self._socket.send(message.SerializeToString())

    def _rerun(self, *states) -> None:
        from streamlit.proto.BackMsg_pb2 import BackMsg

        message = BackMsg()
        message.rerun_script.query_string = ""
        message.rerun_script.page_script_hash = self._page_hash
        message.rerun_script.widget_states.widgets.extend(states)
        self._send(message)

    def read_until(self, condition) -> None:
        """Read what the server sends until a condition holds of this phone."""
        from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

        end = time.monotonic() + _LONGEST_S
        while not condition():
            message = ForwardMsg()
            message.ParseFromString(self._socket.recv(timeout=max(end - time.monotonic(), 0.01)))
            kind = message.WhichOneof("type")
            if kind == "new_session":
                self._session = message.new_session.initialize.session_id or self._session
                self._page_hash = message.new_session.page_script_hash or self._page_hash
            elif kind == "file_urls_response":
                self._urls = message.file_urls_response
            elif kind == "delta" and message.delta.WhichOneof("type") == "new_element":
                element = message.delta.new_element
                if element.WhichOneof("type") == "html":
                    self.html += element.html.body
                elif element.WhichOneof("type") in ("button", "file_uploader"):
                    widget = getattr(element, element.WhichOneof("type"))
                    self.widgets[widget.label] = widget.id

    def press(self, label: str) -> None:
        from streamlit.proto.WidgetStates_pb2 import WidgetState

        self.read_until(lambda: label in self.widgets)
        self._rerun(WidgetState(id=self.widgets[label], trigger_value=True))

    def upload(self, label: str, name: str, data: bytes) -> None:
        """Ask for a place, send the file there, tell the page: as a browser does."""
        from streamlit.proto.BackMsg_pb2 import BackMsg
        from streamlit.proto.WidgetStates_pb2 import WidgetState

        ask = BackMsg()
        ask.file_urls_request.request_id = uuid.uuid4().hex
        ask.file_urls_request.file_names.append(name)
        ask.file_urls_request.session_id = self._session
        self._send(ask)
        self.read_until(lambda: self._urls is not None)
        urls = self._urls.file_urls[0]
        border = uuid.uuid4().hex
        head = f'--{border}\r\nContent-Disposition: form-data; name="{name}"; filename="{name}"\r\nContent-Type: audio/wav\r\n\r\n'
        body = head.encode() + data + f"\r\n--{border}--\r\n".encode()
        request = urllib.request.Request(
            urljoin(self._url, urls.upload_url), data=body, method="PUT",
            headers={"Content-Type": f"multipart/form-data; boundary={border}", "Cookie": f"{_COOKIE}={self._token}", "X-Xsrftoken": self._token},
        )  # fmt: skip
        urllib.request.urlopen(request, timeout=_LONGEST_S).close()
        state = WidgetState(id=self.widgets[label])
        info = state.file_uploader_state_value.uploaded_file_info.add()
        info.name, info.size, info.file_id = name, len(data), urls.file_id
        info.file_urls.CopyFrom(urls)
        self._rerun(state)

    def close(self) -> None:
        self._open.close()


UPLOAD = "Recordings or videos from the phone"


def phones(url: str, clips: list[bytes]) -> list[float]:
    """Send each clip from a phone of its own at the same moment; return seconds until each verdict, sorted."""
    made = []
    for _ in clips:
        phone = Phone(url)
        phone.press("None of these")
        phone.read_until(lambda phone=phone: UPLOAD in phone.widgets)
        made.append(phone)
    start, took = threading.Barrier(len(clips)), []

    def hear(phone: Phone, clip: bytes) -> None:
        start.wait()
        sent = time.monotonic()
        phone.html = ""
        phone.upload(UPLOAD, "clip.wav", clip)
        phone.read_until(lambda: _VERDICT in phone.html)
        took.append(time.monotonic() - sent)

    threads = [threading.Thread(target=hear, args=pair) for pair in zip(made, clips, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for phone in made:
        phone.close()
    if len(took) != len(clips):
        raise RuntimeError(f"{len(clips) - len(took)} phones got no verdict")
    return sorted(took)


def main(n_phones: int = 20) -> None:
    import numpy as np

    from synthetic_audio import draw, render

    scene = render(draw(11, family="normal_brew", split="train"))
    samples = np.resize(scene.samples, 30 * scene.rate_hz)

    def clips(n: int) -> list[bytes]:
        # No two are the same, and none was heard before.
        return [
            as_wav(samples + 1e-4 * np.random.default_rng().standard_normal(len(samples)), scene.rate_hz)
            for _ in range(n)
        ]

    with tempfile.TemporaryDirectory() as folder:
        for url in _served(Path(folder)):
            print(
                f"one phone: {phones(url, clips(1))[0]:.2f} s (first clip), then {phones(url, clips(1))[0]:.2f} s"
            )
            for _ in range(3):
                load, took = os.getloadavg()[0], phones(url, clips(n_phones))
                p95 = took[min(int(0.95 * len(took)), len(took) - 1)]
                print(
                    f"{n_phones} phones at once: median {statistics.median(took):.2f} s, p95 {p95:.2f} s, "
                    f"longest {took[-1]:.2f} s (load from elsewhere {load:.1f})"
                )
            break


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
