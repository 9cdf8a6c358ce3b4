"""What a person does on the page, for the browser tests."""

import time
from pathlib import Path


def pass_questions(page):
    page.get_by_role("button", name="None of these").wait_for()
    settle(page)  # a tap on a page that is still being drawn may be lost
    page.get_by_role("button", name="None of these").click()
    page.locator(".st-key-bench_page_upload input[type=file]").wait_for(state="attached")
    settle(page)


def upload(page, *files):
    page.locator(".st-key-bench_page_upload input[type=file]").set_input_files(
        [{"name": name, "mimeType": "application/octet-stream", "buffer": data} for name, data in files]
    )


def hear(page, *files):
    pass_questions(page)
    upload(page, *files)
    wait_for_result(page)


def wait_for_result(page, timeout_s=60):
    page.locator(".player .row, .player .empty").first.wait_for(timeout=timeout_s * 1000)
    settle(page)


def choose(page, label, option):
    """Choose from a list; what moves on the page meanwhile may close the list, then it is opened again."""
    from playwright.sync_api import TimeoutError as TookTooLong

    wanted = page.get_by_role("option", name=option).first
    for _ in range(15):
        page.get_by_label(label).first.click()
        try:
            wanted.click(timeout=2_000)
            return
        except TookTooLong:
            page.keyboard.press("Escape")
    raise AssertionError(f"the list {label!r} does not open or lacks {option!r}")


def until(page, condition, what, timeout_s=30.0):
    """Wait until something that is asked of the test's own side is true."""
    end = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end, f"waited {timeout_s:g} s in vain: {what}"
        page.wait_for_timeout(50)


def true_of(page, selector, condition, timeout_s=30.0):
    """Wait until a condition (JavaScript over the element `e`) holds; the player's parts are found as well."""
    element = page.locator(selector).first
    until(page, lambda: element.evaluate(f"e => Boolean({condition})"), f"{selector}: {condition}", timeout_s)


def says(element, *words):
    """Wait until an element says all of these words (a page is drawn piece by piece); return all it says."""
    element.wait_for()
    until(element.page, lambda: all(one in element.inner_text() for one in words), f"{element} says {words}")
    return element.inner_text()


def sign(page, name):
    """Say who one is, and wait until the page knows."""
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Your name").press("Tab")
    settle(page)


def tell_state(page, words):
    """Tell what the machine was doing when the clip begins."""
    page.get_by_text("Tell about machine and clip").click()
    page.get_by_label("What was it doing when the clip begins?").first.wait_for()
    choose(page, "What was it doing when the clip begins?", words)
    page.get_by_text(f"0:00.0 {words.lower()}").first.wait_for()
    settle(page)


def settle(page, timeout_s=30.0):
    """Wait until the page has run to its end: for a third of a second nothing runs and nothing is of old."""
    page.evaluate("window.restless = performance.now()")
    page.wait_for_function(
        "() => { const now = performance.now();"
        " const app = document.querySelector('[data-testid=stApp]');"
        " const rests = !app || app.matches('[data-test-script-state=notRunning]');"
        " if (!rests || document.querySelector('[data-stale=true]')) window.restless = now;"
        " return now - window.restless > 333; }",
        timeout=timeout_s * 1000,
    )


def fits_the_width(page):
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def serious(page):
    """Return the serious and critical findings of the accessibility engine axe-core (WCAG rules of Deque)."""
    import axe_playwright_python

    engine = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text(encoding="utf-8")
    page.evaluate(engine + "; void 0")
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    return [
        (one["id"], one["help"], [node["target"] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
