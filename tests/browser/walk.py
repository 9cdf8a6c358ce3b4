"""What a person does on the page, for the browser tests."""

from pathlib import Path


def pass_questions(page):
    page.get_by_role("button", name="None of these").click()
    page.locator("input[type=file]").wait_for(state="attached")


def upload(page, *files):
    page.locator("input[type=file]").set_input_files(
        [{"name": name, "mimeType": "application/octet-stream", "buffer": data} for name, data in files]
    )


def hear(page, *files):
    pass_questions(page)
    upload(page, *files)
    wait_for_result(page)


def wait_for_result(page):
    page.locator(".player .row, .player .empty").first.wait_for(timeout=30_000)


def settle(page, timeout_s=10.0):
    """Wait until the page has run to its end (its script is not running any more)."""
    page.wait_for_function(
        "() => !document.querySelector('[data-testid=stApp]')?.matches('[data-test-script-state=running]')",
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
