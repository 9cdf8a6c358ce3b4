"""How fast the page answers: one phone with 30 s of sound, and twenty phones at once, on this machine.

Run: ``python -m tests.measure.page_phones [N]``. The phones are tabs of one
Chromium on the same machine as the server, so its own work is in the figures;
processor times of both are printed, and the load from elsewhere.
"""

from __future__ import annotations

import contextlib
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.browser.conftest import CHROMIUM, QUIET, _served, as_wav


def main(n_phones: int = 20) -> None:
    from playwright.sync_api import sync_playwright

    from synthetic_audio import draw, render

    scene = render(draw(11, family="normal_brew", split="train"))
    import numpy as np

    samples = np.resize(scene.samples, 30 * scene.rate_hz)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        for url in _served(Path(folder)):
            one = _phones(browser, url, samples, scene.rate_hz, 1)
            again = _phones(browser, url, samples, scene.rate_hz, 1)
            print(
                f"one phone, 30 s of sound: verdict after {one[0]:.2f} s (first clip of the server), then {again[0]:.2f} s"
            )
            load = os.getloadavg()[0]
            before: dict[str, float] = {}
            all_of_them = sorted(
                _phones(
                    browser,
                    url,
                    samples,
                    scene.rate_hz,
                    n_phones,
                    on_send=lambda into=before: into.update(_spent_s()),
                )
            )
            spent = _spent_s()
            p95 = all_of_them[min(int(0.95 * len(all_of_them)), len(all_of_them) - 1)]
            print(
                f"{n_phones} phones at once: median {statistics.median(all_of_them):.2f} s, "
                f"p95 {p95:.2f} s, longest {all_of_them[-1]:.2f} s"
            )
            used = {who: spent[who] - before[who] for who in spent}
            print(
                f"processor time from sending to the last page drawn: server and its hearing processes {used['server']:.1f} s, "
                f"the phones' own browser {used['phones']:.1f} s, on {os.cpu_count()} processors; "
                f"load from elsewhere before it {load:.1f}"
            )
            break
        browser.close()


def _spent_s() -> dict[str, float]:
    """Processor time so far, s, of everything this script started, by who runs it (ended children with their parents)."""
    tick = os.sysconf("SC_CLK_TCK")
    parents, spent, names = {}, {}, {}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            name, _, rest = (folder / "stat").read_text().partition(" (")[2].rpartition(") ")
            fields = rest.split()
            pid = int(folder.name)
            parents[pid], spent[pid] = int(fields[1]), sum(map(int, fields[11:15])) / tick
            names[pid] = name
    total = {"server": 0.0, "phones": 0.0}
    for pid in spent:
        above, seen = pid, False
        while above in parents and above != os.getpid():
            seen = seen or "chrom" in names[above]
            above = parents[above]
        if above == os.getpid() and pid != above and names[pid] != "node":
            total["phones" if seen else "server"] += spent[pid]
    return total


def _phones(browser, url: str, samples, rate_hz: int, n: int, on_send=lambda: None) -> list[float]:
    """Send a different clip from each phone at the same moment; return seconds until each verdict."""
    tabs = []
    for _ in range(n):
        tab = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        tab.goto(url)
        tab.get_by_role("button", name="None of these").click(timeout=60_000)
        tab.locator(".st-key-bench_page_upload input[type=file]").wait_for(state="attached", timeout=60_000)
        # Each page notes for itself when its verdict stood there.
        tab.evaluate(
            "() => { window.sent = 0; window.seen = 0; new MutationObserver(() => {"
            " if (!window.seen && document.querySelector('.bp-verdict .level')) window.seen = performance.now(); })"
            ".observe(document.body, {subtree: true, childList: true}); }"
        )
        tabs.append(tab)
    on_send()
    for place, tab in enumerate(tabs):
        part = samples.copy()
        part[: place + 1] += 1e-4 * (
            1 + time.time() % 1
        )  # no two clips are the same, and none was heard before
        tab.evaluate("() => { window.sent = performance.now(); }")
        tab.locator(".st-key-bench_page_upload input[type=file]").set_input_files(
            [{"name": "clip.wav", "mimeType": "audio/wav", "buffer": as_wav(part, rate_hz)}],
            no_wait_after=True,
        )
    took = []
    for tab in tabs:
        tab.wait_for_function("() => window.seen > 0", timeout=120_000)
        took.append(tab.evaluate("() => (window.seen - window.sent) / 1000"))
        tab.context.close()
    return took


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
