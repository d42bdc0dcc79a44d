"""The names and addresses of this machine in, a certificate of the journal's own out: kept, and made again when due."""

from __future__ import annotations

import contextlib
import ipaddress
import re
import socket
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from journal.errors import RecordError
from journal.record.files import write_whole
from webui.network import lan_address

FILE_NAME = "page.pem"
"""Beside the journal's own database: the private key, then the certificate."""

VALID = timedelta(days=397)
"""How long one is valid. Browsers refuse more than 398 days of the authorities that they come with, and Apple's devices
more than 825 of one's own (both from memory)."""

RENEWED_BEFORE = timedelta(days=30)
"""How long before its end another is made."""

CLOCKS_APART = timedelta(days=1)
"""How far a phone's clock may be behind this machine's."""

_DNS_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True)
class Own:
    """The journal's own certificate."""

    path: Path
    """The file with its key and itself, in PEM."""
    fingerprint: str
    """SHA-256 of the certificate, as browsers show it: 32 pairs of hex digits, parted by colons."""
    ends_at: datetime
    """When it ends, UTC."""

    def context(self) -> ssl.SSLContext:
        """What a TLS server needs of it; TLS 1.2 or newer."""
        made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        made.minimum_version = ssl.TLSVersion.TLSv1_2
        made.set_alpn_protocols(["http/1.1"])
        made.load_cert_chain(self.path)
        return made


def own_names(host: str = "") -> frozenset[str]:
    """What this machine is called in an address: its names, its addresses, and the one it is to listen on."""
    name = socket.gethostname().lower()
    names = {"localhost", name, f"{name}.local", "127.0.0.1", lan_address()}
    with contextlib.suppress(OSError, UnicodeError):
        names |= {str(found[4][0]) for found in socket.getaddrinfo(name, None, socket.AF_INET)}
    if host not in ("", "0.0.0.0", "::"):
        names.add(host)
    return frozenset(each for each in names if _is_address(each) or _DNS_NAME.fullmatch(each))


def own_certificate(folder: Path, names: Iterable[str], now: datetime | None = None) -> Own:
    """The certificate that the journal has for these names; a new one where it has none that will do.

    Args:
        folder: the journal's.
        names: DNS names and IP addresses that it is to be good for.
        now: the present moment, aware.

    Raises:
        RecordError: when it can neither be read nor written.
    """
    at, wanted, path = now or datetime.now(UTC), frozenset(names), folder / FILE_NAME
    try:
        kept = path.read_bytes() if path.is_file() else b""
    except OSError as error:
        raise RecordError(f"{path}: cannot be read: {error.strerror}; check the folder") from None
    certificate = _still_good(kept, wanted, at)
    if certificate is None:
        key = ec.generate_private_key(ec.SECP256R1())
        certificate = _made(key, wanted, at)
        pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        write_whole(path, pem + certificate.public_bytes(Encoding.PEM))
    fingerprint = certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    return Own(path, fingerprint, certificate.not_valid_after_utc)


def _still_good(pem: bytes, wanted: frozenset[str], now: datetime) -> x509.Certificate | None:
    """The certificate in a file, when it is whole, good for all of the names, and neither too new nor near its end."""
    try:
        certificate = x509.load_pem_x509_certificate(pem)
        key = load_pem_private_key(pem, None)
        named = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, TypeError, x509.ExtensionNotFound):
        return None
    there = {*named.get_values_for_type(x509.DNSName), *map(str, named.get_values_for_type(x509.IPAddress))}
    in_time = certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc - RENEWED_BEFORE
    return certificate if in_time and wanted <= there and key.public_key() == certificate.public_key() else None


def _made(key: ec.EllipticCurvePrivateKey, names: frozenset[str], now: datetime) -> x509.Certificate:
    """A certificate that vouches for itself (RFC 5280): no authority for others, for servers only."""
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Cut-out journal of this shop")])
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    addresses = sorted(each for each in names if _is_address(each))
    listed = [x509.DNSName(each) for each in sorted(names) if each not in addresses]
    begins = now - CLOCKS_APART
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + VALID)
        .add_extension(
            x509.SubjectAlternativeName([*listed, *(x509.IPAddress(ipaddress.ip_address(each)) for each in addresses)]),
            critical=False,
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True
