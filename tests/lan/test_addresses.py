"""Addresses: private ones alone are served, and a link knows where it leads."""

import pytest

from listen.errors import BadParameter
from listen.lan.addresses import is_private, local_name, own_addresses, remember, served_address
from listen.lan.qr import svg_code, terminal_code


@pytest.mark.parametrize(
    "address, private",
    [
        # RFC 1918 and its neighbours on both sides; RFC 5737 (documentation) is not private.
        ("10.0.0.1", True), ("172.16.0.1", True), ("172.31.255.255", True), ("172.32.0.1", False), ("172.15.0.1", False),
        ("192.168.0.1", True), ("192.169.0.1", False), ("127.0.0.1", True), ("8.8.8.8", False), ("192.0.2.1", False), ("x", False),
        ("::1", False),
    ],
)  # fmt: skip
def test_private_addresses(address, private):
    assert is_private(address) is private


def test_own_addresses_are_private_and_end_with_loopback():
    found = own_addresses()
    assert found[-1] == "127.0.0.1" and all(map(is_private, found)) and len(set(found)) == len(found)
    assert local_name().endswith(".local") and local_name() == local_name().lower()


def test_a_served_address_is_remembered_or_given(tmp_path):
    with pytest.raises(BadParameter, match="--lan"):
        served_address(tmp_path)
    remember(tmp_path, "https://192.168.7.20:8741")
    assert served_address(tmp_path) == "https://192.168.7.20:8741"
    assert served_address(tmp_path, "https://shop.example:8443/") == "https://shop.example:8443"


@pytest.mark.parametrize(
    "given", ["shop", "ftp://shop", "https://", "https://shop:x", "https://shop/?a=1", "javascript:1"]
)
def test_what_is_no_web_address_is_refused(tmp_path, given):
    with pytest.raises(BadParameter, match="no web address"):
        served_address(tmp_path, given)


def test_codes_hold_a_link_and_fit_a_terminal():
    url = "https://192.168.7.20:8741/u/" + "A" * 22
    lines = terminal_code(url).splitlines()
    assert len(lines) <= 22 and max(map(len, lines)) <= 80
    assert svg_code(url).startswith("<svg") and "http://www.w3.org/2000/svg" in svg_code(url)
