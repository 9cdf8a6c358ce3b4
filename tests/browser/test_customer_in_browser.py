"""The customer's round, the network's PIN, and what the accessibility engine says of every view."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from listen.bench import first_minute_questions
from listen.intake.links import Links
from tests.browser.conftest import SIZES
from tests.browser.walk import fits_the_width, pass_questions, says, serious, settle, sign, wait_for_result

pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
pytestmark = pytest.mark.browser


@pytest.fixture
def customer(chromium, size):
    """A customer's phone without scripts."""
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, java_script_enabled=False)
    yield context.new_page()
    context.close()


def test_the_round_from_link_to_answer(page, customer, address, library, brew_clip, served_folder):
    made = subprocess.run(
        [sys.executable, "-c", "from listen.cli import main; main()", "intake", "link", "--no-qr"],
        env={**__import__("os").environ, "LISTEN_LIBRARY": str(served_folder / "library")}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    link = made.stdout.split()[0]
    assert link.startswith(f"{address}/u/")
    customer.goto(link)
    customer.get_by_role("button", name="None of these").click()
    customer.locator("input[name=clips]").set_input_files(
        [{"name": "voice", "mimeType": "application/octet-stream", "buffer": brew_clip}]
    )
    customer.locator("textarea[name=does]").fill("It hums <i>loudly</i>")
    customer.locator("input[name=sender]").fill("Kim")
    customer.get_by_role("button", name="Send").click()
    receipt = customer.locator(".number").inner_text()

    page.get_by_role("button", name="Messages").click()
    page.get_by_role("button", name=f"Open {receipt}").click()
    draft = page.get_by_label("Answer (drafted from what was heard")
    draft.wait_for()
    wait_for_result(page)
    page.get_by_text("It hums <i>loudly</i>").first.wait_for()
    assert fits_the_width(page)
    draft.fill("Please look at the tray. We come tomorrow.")
    sign(page, "Robin")
    page.get_by_role("button", name="Answer", exact=True).click()
    page.get_by_text("Answered by Robin").wait_for()
    customer.reload()
    assert "We come tomorrow." in customer.locator(".card").inner_text()
    # The link is used: it shows its answer and takes nothing more.
    customer.goto(link)
    assert customer.locator("form").count() == 0


def test_a_yes_stops_at_once_and_stands_on_top_of_the_queue(page, customer, address, library):
    token, _ = Links(library.place.home).make(machine=None)
    customer.goto(f"{address}/u/{token}")
    customer.locator("input[type=checkbox]").nth(1).check()
    customer.get_by_role("button", name="Yes, what I ticked").click()
    assert "Stop: do not run the machine" in customer.get_by_role("alert").inner_text()
    assert customer.get_by_role("alert").bounding_box()["y"] < 200
    page.get_by_role("button", name="Messages").click()
    says(page.locator(".bp-message").first, "Stop")
    settle(page)
    page.get_by_role("button", name="Open ").first.click()
    question = first_minute_questions()[1].text
    page.get_by_text(f"Answered yes: {question}").wait_for()


def test_expired_and_guessed_links_say_so(customer, address, library):
    token, _ = Links(library.place.home).make(machine=None, days=1, now=datetime.now(UTC) - timedelta(days=3))
    assert customer.goto(f"{address}/u/{token}").status == 410
    assert "This link is over" in customer.get_by_role("alert").inner_text()
    assert customer.goto(f"{address}/u/{'A' * 22}").status == 404


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_view_has_a_serious_finding(chromium, address, library, size, scheme):
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    page.get_by_role("button", name="None of these").wait_for()
    settle(page)
    assert serious(page) == []
    page.locator(".stCheckbox label").first.click()
    page.get_by_role("alert").wait_for()
    assert serious(page) == []
    page.locator(".stCheckbox label").first.click()
    page.get_by_role("alert").wait_for(state="hidden")
    pass_questions(page)
    page.locator(".recorder .go").wait_for()
    assert serious(page) == []
    page.get_by_role("button", name="A hiss that stays").click()
    wait_for_result(page)
    page.locator(".player .pencil").first.click()
    page.get_by_text("Keep this clip").click()
    page.get_by_label("Your name").wait_for()
    settle(page)
    assert serious(page) == []
    for view in ("Messages", "Machines"):
        page.get_by_role("button", name=view, exact=True).click()
        page.get_by_text({"Messages": "Stops first", "Machines": "Past clips"}[view]).wait_for()
        settle(page)
        assert serious(page) == []
    context.close()


def test_no_customer_page_has_a_serious_finding(chromium, address, library):
    token, _ = Links(library.place.home).make(machine=None)
    for scheme in ("light", "dark"):
        # The engine needs scripts, which the pages' own policy forbids.
        context = chromium.new_context(
            viewport={"width": 390, "height": 844}, bypass_csp=True, color_scheme=scheme
        )
        page = context.new_page()
        page.goto(f"{address}/u/{token}")
        assert serious(page) == []
        page.get_by_role("button", name="None of these").click()
        assert serious(page) == []
        page.goto(f"{address}/u/{'A' * 22}")
        assert serious(page) == []
        context.close()


def test_the_network_asks_for_the_pin_before_anything(chromium, lan_address):
    context = chromium.new_context(
        viewport={"width": 390, "height": 844},
        ignore_https_errors=True,
        permissions=["microphone"],
        bypass_csp=True,
    )
    page = context.new_page()
    for path in (
        "/_stcore/health",
        "/_stcore/metrics",
        "/_stcore/host-config",
        "/media/x.wav",
        "/static/x.js",
    ):
        assert page.request.get(f"{lan_address}{path}").status == 401
    page.goto(f"{lan_address}/?view=messages")
    assert serious(page) == []
    page.get_by_label("PIN").fill("111222")
    page.get_by_role("button", name="Open the page").click()
    says(page.get_by_role("alert"), "not the PIN")
    page.get_by_label("PIN").fill("402 975")
    page.get_by_role("button", name="Open the page").click()
    page.get_by_text("Messages from customers").wait_for()
    page.get_by_role("button", name="Hear", exact=True).click()
    pass_questions(page)
    assert not page.locator(".recorder .trouble").is_visible()  # a secure connection: there is a microphone
    page.goto(f"{lan_address}/trust")
    assert serious(page) == [] and page.get_by_text("how to end it").count() == 1
    context.close()
