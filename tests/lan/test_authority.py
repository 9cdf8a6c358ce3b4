"""The shop's authority, checked by OpenSSL itself (Python's ssl): what it vouches for and what it cannot."""

import ipaddress
import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization

from listen.errors import ListenError
from listen.lan import authority
from listen.lan.authority import fingerprint, prepare

NAMES = ("192.168.7.20", "bench.local", "localhost", "127.0.0.1")


def shakes_hands(served, name):
    """Tell whether a client that trusts the authority accepts the server under a name (RFC 5280 checks by OpenSSL)."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(served.certificate, served.key)
    ours, theirs = socket.socketpair()

    def serve():
        try:
            with context.wrap_socket(ours, server_side=True) as secure:
                secure.recv(1)
        except OSError:
            ours.close()

    server = threading.Thread(target=serve)
    server.start()
    trust = ssl.create_default_context(cafile=str(served.authority))
    try:
        with trust.wrap_socket(theirs, server_hostname=name):
            return True
    except ssl.SSLCertVerificationError:
        return False
    finally:
        theirs.close()
        server.join(timeout=5)


def test_a_phone_that_trusts_the_authority_accepts_the_page(tmp_path):
    served = prepare(tmp_path / "lan", NAMES)
    assert all(shakes_hands(served, name) for name in NAMES)
    assert not shakes_hands(served, "192.168.7.21")
    assert not shakes_hands(served, "other.local")


@pytest.mark.parametrize("name", ["example.org", "8.8.8.8", "local.example.org"])
def test_openssl_refuses_what_the_authority_may_not_vouch_for(tmp_path, name, monkeypatch):
    served = prepare(tmp_path / "lan", NAMES)
    # Somebody who has stolen the key certifies a name of the internet with it.
    monkeypatch.setattr(authority, "is_private", lambda text: text[0].isdigit())
    key = serialization.load_pem_private_key((tmp_path / "lan" / "authority.key").read_bytes(), None)
    own = x509.load_pem_x509_certificate(served.authority.read_bytes())
    authority._make_leaf(served, (name,), own, key, datetime.now(UTC))
    assert not shakes_hands(served, name)


def test_a_public_name_is_refused_before_it_is_certified(tmp_path):
    with pytest.raises(ListenError, match="neither a private address"):
        prepare(tmp_path / "lan", ("example.org",))
    with pytest.raises(ListenError, match="neither a private address"):
        prepare(tmp_path / "lan", ("93.184.216.34",))


def test_it_is_made_once_and_kept(tmp_path):
    first = prepare(tmp_path / "lan", NAMES)
    before = [path.read_bytes() for path in (first.certificate, first.key, first.authority)]
    again = prepare(tmp_path / "lan", NAMES[:2])
    assert [path.read_bytes() for path in (again.certificate, again.key, again.authority)] == before


def test_a_new_address_or_an_old_certificate_is_made_anew_under_the_same_authority(tmp_path):
    served = prepare(tmp_path / "lan", NAMES)
    leaf, trusted = served.certificate.read_bytes(), served.authority.read_bytes()
    prepare(tmp_path / "lan", (*NAMES, "10.0.0.9"))
    assert served.certificate.read_bytes() != leaf and shakes_hands(served, "10.0.0.9")
    leaf = served.certificate.read_bytes()
    prepare(tmp_path / "lan", NAMES, now=datetime.now(UTC) + timedelta(days=380))
    assert served.certificate.read_bytes() != leaf
    assert served.authority.read_bytes() == trusted


def test_life_and_limits_stand_in_the_certificates(tmp_path):
    served = prepare(tmp_path / "lan", NAMES)
    leaf = x509.load_pem_x509_certificate(served.certificate.read_bytes())
    # Browsers accept no server certificate that lives longer than 398 days (CA/Browser Forum Ballot SC31).
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=398)
    own = x509.load_pem_x509_certificate(served.authority.read_bytes())
    limits = own.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    networks = [name.value for name in limits.value.permitted_subtrees if isinstance(name, x509.IPAddress)]
    # RFC 1918 (private), RFC 3927 (link-local), RFC 1122 (loopback)
    assert {str(network) for network in networks} == {
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    }  # fmt: skip
    assert all(ipaddress.ip_network(network).is_private for network in networks)
    assert own.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_keys_are_private_to_their_owner(tmp_path):
    prepare(tmp_path / "lan", NAMES)
    assert stat.S_IMODE((tmp_path / "lan").stat().st_mode) == 0o700
    for path in (tmp_path / "lan").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_damaged_files_are_made_anew(tmp_path):
    served = prepare(tmp_path / "lan", NAMES)
    served.key.write_text("nonsense")
    assert shakes_hands(prepare(tmp_path / "lan", NAMES), "localhost")
    served.authority.write_text("nonsense")
    assert shakes_hands(prepare(tmp_path / "lan", NAMES), "localhost")


def test_the_fingerprint_is_the_hash_of_the_certificate(tmp_path):
    served = prepare(tmp_path / "lan", NAMES)
    own = x509.load_pem_x509_certificate(served.authority.read_bytes())
    digest = hashes.Hash(hashes.SHA256())
    digest.update(own.public_bytes(serialization.Encoding.DER))
    assert fingerprint(served.authority).replace(":", "") == digest.finalize().hex().upper()
