"""Play sound into Chromium's microphone and record it as a web page would.

Why it exists: what a browser does to a recording (echo cancellation, noise
suppression, gain control, Opus) is not modelled here but run. Chromium's fake
capture device plays a WAV file from the moment the stream is opened, in real
time, and hands it through the same processing as a real microphone.

The page is served from this machine only (a secure context is needed for a
microphone, and localhost is one). One browser records one clip at a time,
because the played file is an option of the browser as a whole.
"""

from __future__ import annotations

import base64
import http.server
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

CHROMIUM = "/usr/bin/chromium"
RATE_HZ = 48_000
#: Recorded longer than what is played, for the latency of the path.
TAIL_S = 0.25

PAGE = """<!doctype html><meta charset="utf-8"><title>recorder</title><script>
const KEEP = `registerProcessor('keep', class extends AudioWorkletProcessor {
  process(inputs) { if (inputs[0].length) this.port.postMessage(inputs[0][0].slice()); return true; }
})`;
function base64(bytes) {
  let text = '';
  for (let i = 0; i < bytes.length; i += 32768)
    text += String.fromCharCode.apply(null, bytes.subarray(i, i + 32768));
  return btoa(text);
}
async function record(options) {
  const context = new AudioContext({sampleRate: options.rate_hz});
  await context.audioWorklet.addModule(URL.createObjectURL(new Blob([KEEP], {type: 'text/javascript'})));
  const node = new AudioWorkletNode(context, 'keep');
  const blocks = [], parts = [];
  node.port.onmessage = event => blocks.push(event.data);
  const stream = await navigator.mediaDevices.getUserMedia({audio: {
    channelCount: 1, echoCancellation: options.echo, noiseSuppression: options.noise, autoGainControl: options.gain}});
  const track = stream.getAudioTracks()[0];
  let recorder = null, stopped = null;
  if (options.bit_rate) {
    recorder = new MediaRecorder(stream,
      {mimeType: 'audio/webm;codecs=opus', audioBitsPerSecond: options.bit_rate});
    recorder.ondataavailable = event => parts.push(event.data);
    stopped = new Promise(resolve => recorder.onstop = resolve);
    recorder.start();
  } else context.createMediaStreamSource(stream).connect(node);
  await new Promise(resolve => setTimeout(resolve, options.ms));
  const settings = track.getSettings();
  let bytes;
  if (recorder) {
    recorder.stop();
    await stopped;
    bytes = new Uint8Array(await new Blob(parts).arrayBuffer());
  } else {
    const all = new Float32Array(blocks.reduce((n, block) => n + block.length, 0));
    let at = 0;
    for (const block of blocks) { all.set(block, at); at += block.length; }
    bytes = new Uint8Array(all.buffer);
  }
  track.stop();
  await context.close();
  return {data: base64(bytes), settings: {echo: settings.echoCancellation, noise: settings.noiseSuppression,
    gain: settings.autoGainControl, rate_hz: settings.sampleRate}};
}
</script>"""


class _Page(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        body = PAGE.encode()
        self.send_response(200)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What the page recorded: bytes of a WebM file or float32 samples at 48 kHz, and the track's settings."""

    data: bytes
    settings: dict[str, Any]

    def samples(self) -> np.ndarray:
        """Return the samples (n,) of a recording that was made without a codec."""
        return np.frombuffer(self.data, "<f4")


class Recorder:
    """A browser whose microphone plays what it is given."""

    def __init__(self, browser: Any, wav: Path, address: str) -> None:
        self._browser, self._wav, self._address = browser, wav, address
        self.version: str = browser.version

    def record(self, samples: np.ndarray, processing: dict[str, bool], bit_rate: int = 0) -> Taken:
        """Play samples and record them, in real time.

        Parameters
        ----------
        samples : np.ndarray [shape=(n,)], float
            At 48 kHz, within -1..1.
        processing : dict of str to bool
            `echo`, `noise`, `gain`: what the page asks the browser for.
        bit_rate : int
            Of Opus in bits a second; 0 takes the samples as they are.
        """
        soundfile.write(self._wav, samples, RATE_HZ, subtype="PCM_16")
        ms = round(1000 * (len(samples) / RATE_HZ + TAIL_S))
        context = self._browser.new_context()
        try:
            page = context.new_page()
            page.goto(self._address)
            options = {**processing, "bit_rate": bit_rate, "ms": ms, "rate_hz": RATE_HZ}
            answer = page.evaluate("options => record(options)", options)
        finally:
            context.close()
        return Taken(base64.b64decode(answer["data"]), answer["settings"])


@contextmanager
def recorder(folder: Path) -> Iterator[Recorder]:
    """Open a browser that plays from a file in `folder`."""
    from playwright.sync_api import sync_playwright

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Page)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    wav = folder / "played.wav"
    flags = [
        "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", "--no-first-run", "--autoplay-policy=no-user-gesture-required",
        "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={wav}%noloop",
    ]  # fmt: skip
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
        try:
            yield Recorder(browser, wav, f"http://127.0.0.1:{server.server_port}/")
        finally:
            browser.close()
            server.shutdown()
