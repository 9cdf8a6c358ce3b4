"""The shop's own certificate authority, made once, and the page's certificate from it.

The authority's key never leaves its owner's folder, and what it can vouch for is
limited in the certificate itself: private addresses and names under `.local`.
Whoever trusts it therefore trusts it for nothing on the internet.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from listen.errors import ListenError
from listen.lan.addresses import PRIVATE_NETWORKS, is_private

#: Phones refuse a longer life of a server's certificate (common practice; 398 days is the browsers' own limit).
LEAF_DAYS = 397
AUTHORITY_DAYS = 3650
#: A certificate is made anew when less than this is left.
RENEW_DAYS = 30
_NAME = "Listen, this shop's own authority"


@dataclass(frozen=True, slots=True)
class Served:
    """Files for the server: chain and key of the page, and the authority to be trusted by phones."""

    certificate: Path
    key: Path
    authority: Path


def prepare(folder: Path, names: Iterable[str], *, now: datetime | None = None) -> Served:
    """Return certificate and key for the page under `names`, made or made anew as needed.

    Parameters
    ----------
    folder : Path
        Private folder; made with access for its owner alone.
    names : iterable of str
        Private IPv4 addresses, `localhost` and names under `.local`.

    Raises
    ------
    ListenError
        When a name is not private, or the folder cannot be used.
    """
    at = now or datetime.now(UTC)
    wanted = tuple(dict.fromkeys(names))
    for name in wanted:
        if not is_private(name) and not name.endswith(".local") and name != "localhost":
            raise ListenError(
                f"{name!r} is neither a private address nor a name under .local: it is not certified here."
            )
    served = Served(folder / "page.pem", folder / "page.key", folder / "authority.pem")
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        folder.chmod(0o700)
        authority, authority_key = _authority(served.authority, folder / "authority.key", at)
        if not _holds(served, wanted, authority, at):
            _make_leaf(served, wanted, authority, authority_key, at)
    except OSError as error:
        raise ListenError(
            f"The certificates cannot be kept in {folder} ({(error.strerror or 'unknown reason').lower()})."
        ) from error
    return served


def fingerprint(authority: Path) -> str:
    """Return the SHA-256 fingerprint of the authority, as phones show it."""
    digest = x509.load_pem_x509_certificate(authority.read_bytes()).fingerprint(hashes.SHA256())
    return ":".join(f"{byte:02X}" for byte in digest)


def _authority(
    path: Path, key_path: Path, at: datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    try:
        certificate = x509.load_pem_x509_certificate(path.read_bytes())
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        if (
            isinstance(key, ec.EllipticCurvePrivateKey)
            and at + timedelta(days=LEAF_DAYS) < certificate.not_valid_after_utc
        ):
            return certificate, key
    except (OSError, ValueError):
        pass  # not there yet, or damaged: a new one must be trusted anew, which the page says
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _NAME)])
    builder = _builder(name, name, key.public_key(), at, AUTHORITY_DAYS)
    limits = x509.NameConstraints(
        permitted_subtrees=[
            *(x509.IPAddress(network) for network in PRIVATE_NETWORKS), x509.DNSName("local"), x509.DNSName("localhost"),
        ],
        excluded_subtrees=[x509.IPAddress(ipaddress.ip_network("::/0"))],
    )  # fmt: skip
    builder = (
        builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(certificates=True), critical=True)
        .add_extension(limits, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    certificate = builder.sign(key, hashes.SHA256())
    _write_private(key_path, _pem(key))
    _write_private(path, certificate.public_bytes(serialization.Encoding.PEM))
    return certificate, key


def _holds(served: Served, names: tuple[str, ...], authority: x509.Certificate, at: datetime) -> bool:
    try:
        leaf = x509.load_pem_x509_certificate(served.certificate.read_bytes())
        serialization.load_pem_private_key(served.key.read_bytes(), None)
        leaf.verify_directly_issued_by(authority)
        alternative = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    have = {str(value) for value in alternative.get_values_for_type(x509.IPAddress)}
    have |= set(alternative.get_values_for_type(x509.DNSName))
    return set(names) <= have and leaf.not_valid_after_utc - at > timedelta(days=RENEW_DAYS)


def _make_leaf(
    served: Served,
    names: tuple[str, ...],
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    at: datetime,
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0])])
    general = [
        x509.IPAddress(ipaddress.ip_address(name)) if is_private(name) else x509.DNSName(name)
        for name in names
    ]
    leaf = (
        _builder(subject, authority.subject, key.public_key(), at, LEAF_DAYS)
        .add_extension(x509.SubjectAlternativeName(general), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    _write_private(served.key, _pem(key))
    _write_private(served.certificate, leaf.public_bytes(serialization.Encoding.PEM))


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, at: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        # A phone's clock may run behind.
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at - timedelta(days=1) + timedelta(days=days))
    )


def _usage(*, certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not certificates, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=certificates, crl_sign=certificates, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write_private(path: Path, data: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
