"""Links: unguessable, expiring, good for one message even when two come at once."""

import os
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from listen.errors import BadParameter
from listen.intake.links import Links, hash_of


def test_a_link_is_found_by_its_token_alone(links, tmp_path):
    token, link = links.make(machine=None, days=7)
    assert links.find(token) == link and link.hash == hash_of(token)
    assert len(token) >= 22  # 128 bits in base64
    assert links.find(token[:-1]) is None and links.find("") is None and links.find("x" * 5000) is None
    assert links.find("../" * 8) is None


def test_the_token_lies_nowhere_on_disk(links, library):
    token, _ = links.make(machine=None)
    for path in library.place.home.rglob("*"):
        if path.is_file():
            assert token.encode() not in path.read_bytes()
            assert token not in path.name


def test_the_files_are_private(links, library):
    links.make(machine=None)
    for path in (library.place.home / "links").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_link_ends(links):
    at = datetime(2026, 3, 1, tzinfo=UTC)
    _, link = links.make(machine=None, days=2, now=at)
    assert not link.expired(at + timedelta(days=1, hours=23))
    assert link.expired(at + timedelta(days=2))


@pytest.mark.parametrize("days", [0, -1, 61])
def test_days_out_of_range_are_refused(links, days):
    with pytest.raises(BadParameter, match="1 to 60 days"):
        links.make(machine=None, days=days)


def test_of_many_at_once_one_claims_the_link(links):
    _, link = links.make(machine=None)
    with ThreadPoolExecutor(16) as many:
        won = list(many.map(lambda _: links.claim(link, "message"), range(64)))
    assert sum(won) == 1
    assert links.claim(link, "alarm")  # another purpose is another use


def test_a_claim_given_back_or_cut_off_can_be_made_again(links, library):
    _, link = links.make(machine=None)
    assert links.claim(link, "message")
    links.release(link, "message")
    assert links.claim(link, "message")
    path = library.place.home / "links" / f"{link.hash}.message"
    old = time.time() - 3600
    os.utime(path, (old, old))
    assert links.claim(link, "message")
    links.settle(link, "message", "ABC234")
    os.utime(path, (old, old))
    assert not links.claim(link, "message")
    links.release(link, "message")  # what was stored is not given back
    assert links.receipt(link, "message") == "ABC234"


def test_a_link_is_withdrawn_by_the_beginning_of_its_hash(links):
    token, link = links.make(machine=None)
    assert not links.withdraw(link.hash[:3])
    assert not links.withdraw("f" * 12)
    assert links.withdraw(link.hash[:8])
    assert links.find(token) is None
    assert Links(links._folder.parent).all() == ()
