"""The customer's pages: safety first and at once, stored whole, limits, nothing a stranger can break."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from listen.bench import first_minute_questions
from listen.errors import LibraryError
from listen.intake.limits import Limits
from tests.support.asgi import multipart

QUESTIONS = first_minute_questions()


@pytest.fixture
def token(links):
    return links.make(machine=None)[0]


def send(shop, token, fields=(("does", "it hisses"),), files=()):
    body, content_type = multipart(fields, files)
    return shop.ask(f"/u/{token}/send", method="POST", body=body, content_type=content_type)


def test_the_first_page_asks_every_question_and_takes_no_file(shop, token):
    page = shop.ask(f"/u/{token}")
    assert page.status == 200
    for question in QUESTIONS:
        assert question.text in page.text
    assert 'type="file"' not in page.text and "<script" not in page.text
    assert page.headers["content-security-policy"].startswith("default-src 'none'")
    assert page.headers["referrer-policy"] == "no-referrer" and page.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda q: q.id)
def test_a_yes_is_answered_and_stored_at_once(shop, token, library, question):
    page = shop.ask(f"/u/{token}/first", method="POST", form={"danger": question.id, "some": "1"})
    assert "Stop: do not run the machine" in page.text
    assert question.do[-1].rstrip(".").split(". ")[0] in page.text.replace("&#39;", "'")
    (record,) = library.intake.queue()
    assert (record.level, record.answers[question.id]) == ("stop", "yes")
    assert record.receipt in page.text
    # Told again, it is stored once; the words stand there again.
    again = shop.ask(f"/u/{token}/first", method="POST", form={"danger": question.id, "some": "1"})
    assert "Stop: do not run" in again.text and len(library.intake.queue()) == 1


def test_a_yes_counts_also_beside_none_of_these(shop, token):
    page = shop.ask(f"/u/{token}/first", method="POST", form={"danger": QUESTIONS[0].id, "none": "1"})
    assert "Stop: do not run the machine" in page.text


def test_after_a_stop_nobody_is_told_how_to_record(shop, token):
    page = shop.ask(f"/u/{token}/form", method="POST", form={"danger": QUESTIONS[0].id})
    assert "How to record" not in page.text and 'type="file"' in page.text


def test_nothing_ticked_is_asked_again(shop, token):
    page = shop.ask(f"/u/{token}/first", method="POST", form={"some": "1"})
    assert "Nothing is ticked" in page.text


def test_a_message_is_stored_whole_with_its_receipt(shop, token, library, jpeg):
    answer = send(
        shop, token, [("none", "1"), ("does", "It <b>hisses</b>"), ("sender", "Kim"), ("consent", "learn")],
        [("clips", "../../etc/passwd", b"clip bytes"), ("pictures", "gauge", jpeg)],
    )  # fmt: skip
    assert (answer.status, answer.headers["location"]) == (303, f"/u/{token}")
    (record,) = library.intake.queue()
    assert (record.sender, record.consent, record.status) == ("Kim", "learn", "new")
    assert set(record.answers.values()) == {"no"}
    assert [(f.kind, library.intake.read_file(f)) for f in record.files] == [
        ("audio", b"clip bytes"),
        ("picture", jpeg),
    ]
    assert shop.news == 1
    page = shop.ask(f"/u/{token}")
    assert record.receipt in page.text
    library.intake.answer(record.receipt, "Look at <the> tray.", by="Robin")
    assert "Look at &lt;the&gt; tray." in shop.ask(f"/u/{token}").text


def test_a_link_takes_one_message(shop, token, library):
    send(shop, token)
    answer = send(shop, token, [("does", "again")])
    assert answer.status == 303 and len(library.intake.queue()) == 1
    assert "it hisses" in library.intake.queue()[0].said


def test_what_cannot_be_stored_leaves_the_link_open(shop, token, library, monkeypatch):
    def fail(**values):
        raise LibraryError("The disk is full.")

    monkeypatch.setattr(library.intake, "add", fail)
    refused = send(shop, token)
    assert refused.status == 503 and "nothing of this one is with us" in refused.text
    monkeypatch.undo()
    assert send(shop, token).status == 303 and len(library.intake.queue()) == 1


def test_a_guessed_link_is_refused_and_guessing_ends(shop, token):
    for n in range(Limits().wrong_per_hour):
        assert shop.ask(f"/u/{'A' * 20}{n:02d}").status == 404
    assert shop.ask(f"/u/{token}").status == 429
    assert shop.ask(f"/u/{token}", client="192.168.1.77").status == 200


def test_an_expired_link_takes_nothing_but_still_shows_its_answer(shop, links, library):
    token, _ = links.make(machine=None, days=1, now=datetime.now(UTC) - timedelta(days=2))
    assert shop.ask(f"/u/{token}").status == 410
    assert send(shop, token).status == 410 and library.intake.queue() == ()


def test_asking_too_often_is_slowed(shop, token):
    statuses = [shop.ask(f"/u/{token}").status for _ in range(Limits().asks_per_min + 3)]
    assert statuses.count(200) == Limits().asks_per_min and statuses[-1] == 429


def test_too_much_is_refused_and_the_link_stays_open(shop, token, library):
    shop.use(limits=Limits(total_bytes=300_000, file_bytes=100_000, n_clips=2, n_pictures=1))
    assert send(shop, token, files=[("clips", "a", bytes(100_001))]).status == 413
    assert send(shop, token, files=[("clips", "a", bytes(90_000))] * 6).status == 413
    assert send(shop, token, files=[("clips", "a", b"x")] * 3).status == 400
    assert send(shop, token, fields=()).status == 400
    assert library.intake.queue() == ()
    assert send(shop, token, files=[("clips", "a", b"x")] * 2).status == 303


def test_a_flood_without_a_length_is_cut_off(shop, token, library):
    shop.use(limits=Limits(total_bytes=200_000, file_bytes=200_000))
    sent = []

    def endless():
        yield b'--m\r\nContent-Disposition: form-data; name="clips"; filename="a"\r\n\r\n'
        while True:
            sent.append(1)
            yield bytes(50_000)

    answer = shop.ask(
        f"/u/{token}/send", method="POST", blocks=endless(), content_type="multipart/form-data; boundary=m"
    )
    assert answer.status == 413 and len(sent) < 12 and library.intake.queue() == ()


@pytest.mark.parametrize(
    "content_type", ["", "text/plain", "multipart/form-data", "multipart/form-data; boundary=x"]
)
def test_a_broken_form_is_a_sentence(shop, token, content_type):
    answer = shop.ask(f"/u/{token}/send", method="POST", body=b"junk", content_type=content_type)
    assert answer.status in (400, 415) and re.search("send it again|nothing in it", answer.text)


def test_nothing_the_customer_reads_says_safe(shop, token):
    pages = [
        shop.ask(f"/u/{token}").text,
        shop.ask(f"/u/{token}/first", method="POST", form={"none": "1"}).text,
    ]
    assert not any(re.search(r"\bsafe\b", page) for page in pages)
