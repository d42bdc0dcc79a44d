"""The journal's own certificate: for what it is good, how long, who can read it, and when there is another.

Its form is held against RFC 5280 by OpenSSL's own verification, through a TLS client that trusts nothing else.
"""

from __future__ import annotations

import hashlib
import os
import socket
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from journal.errors import RecordError
from webui.certificate import FILE_NAME, RENEWED_BEFORE, VALID, own_certificate, own_names

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)
NAMES = ("localhost", "workshop.local", "192.0.2.10", "127.0.0.1")


def test_it_is_kept_and_stays_the_same(tmp_path: Path) -> None:
    first = own_certificate(tmp_path, NAMES, NOW)
    before = first.path.read_bytes()
    assert own_certificate(tmp_path, NAMES, NOW + timedelta(days=100)) == first
    assert own_certificate(tmp_path, NAMES[:2], NOW).fingerprint == first.fingerprint, "fewer names need no other"
    assert first.path.read_bytes() == before and first.path == tmp_path / FILE_NAME


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such modes: a user's folder is private")
def test_its_key_is_the_owners_alone(tmp_path: Path) -> None:
    assert stat.S_IMODE(own_certificate(tmp_path, NAMES, NOW).path.stat().st_mode) == 0o600


def test_another_is_made_for_a_new_address_near_its_end_and_after_a_clock_set_back(tmp_path: Path) -> None:
    first = own_certificate(tmp_path, NAMES, NOW)
    moved = own_certificate(tmp_path, (*NAMES, "192.0.2.11"), NOW)
    assert moved.fingerprint != first.fingerprint
    just_in_time = moved.ends_at - RENEWED_BEFORE
    assert own_certificate(tmp_path, NAMES, just_in_time).fingerprint == moved.fingerprint
    renewed = own_certificate(tmp_path, NAMES, just_in_time + timedelta(seconds=1))
    assert renewed.fingerprint != moved.fingerprint and renewed.ends_at > moved.ends_at
    assert own_certificate(tmp_path, NAMES, NOW - timedelta(days=9)).fingerprint != renewed.fingerprint


@pytest.mark.parametrize("spoilt", [b"", b"no certificate", "half", "another key"])
def test_a_file_that_is_no_key_with_its_certificate_is_made_anew(tmp_path: Path, spoilt: bytes | str) -> None:
    first = own_certificate(tmp_path, NAMES, NOW)
    whole = first.path.read_bytes()
    key, certificate = whole.split(b"-----BEGIN CERTIFICATE")
    if spoilt == "another key":
        (tmp_path / "other").mkdir()
        other = own_certificate(tmp_path / "other", NAMES, NOW).path.read_bytes()
        first.path.write_bytes(other.split(b"-----BEGIN CERTIFICATE")[0] + b"-----BEGIN CERTIFICATE" + certificate)
    else:
        first.path.write_bytes(key if isinstance(spoilt, str) else spoilt)
    assert own_certificate(tmp_path, NAMES, NOW).fingerprint != first.fingerprint
    own_certificate(tmp_path, NAMES, NOW).context()


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RecordError, match=r"page\.pem cannot be written"):
        own_certificate(tmp_path / "file", NAMES, NOW)


def test_it_is_for_servers_of_these_names_and_vouches_for_nobody_else(tmp_path: Path) -> None:
    own = own_certificate(tmp_path, NAMES, NOW)
    made = x509.load_pem_x509_certificate(own.path.read_bytes())
    named = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert named.get_values_for_type(x509.DNSName) == ["localhost", "workshop.local"]
    assert [str(each) for each in named.get_values_for_type(x509.IPAddress)] == ["127.0.0.1", "192.0.2.10"]
    assert not made.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert made.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value[0].dotted_string == "1.3.6.1.5.5.7.3.1"
    assert made.not_valid_after_utc - made.not_valid_before_utc == VALID <= timedelta(days=398)
    assert made.not_valid_before_utc < NOW, "a phone's clock may be behind"


def test_its_key_signs_handshakes_and_nothing_else(tmp_path: Path) -> None:
    """RFC 5280, 4.2.1.3 (key usage) and 4.2.1.9 (basic constraints): critical, and of each use only what it is for."""
    made = x509.load_pem_x509_certificate(own_certificate(tmp_path, NAMES, NOW).path.read_bytes())
    usage = made.extensions.get_extension_for_class(x509.KeyUsage)
    uses = (
        "digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
        "key_cert_sign", "crl_sign",
    )  # fmt: skip
    assert [use for use in uses if getattr(usage.value, use)] == ["digital_signature"]
    assert usage.critical and made.extensions.get_extension_for_class(x509.BasicConstraints).critical
    assert not made.extensions.get_extension_for_class(x509.SubjectAlternativeName).critical, "it has a subject"
    assert not made.extensions.get_extension_for_class(x509.ExtendedKeyUsage).critical


def test_a_client_that_trusts_it_and_nothing_else_finds_it_good_and_sees_the_fingerprint_told(tmp_path: Path) -> None:
    own = own_certificate(tmp_path, ("localhost", "127.0.0.1"))
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.load_verify_locations(own.path)
    for name in ("localhost", "127.0.0.1"):
        assert _shaken(own.context(), client, name) == own.fingerprint
    with pytest.raises(ssl.SSLCertVerificationError):
        _shaken(own.context(), client, "elsewhere.example")


def _shaken(server: ssl.SSLContext, client: ssl.SSLContext, name: str) -> str:
    """Shake hands in memory; the fingerprint of the certificate that came."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    here = client.wrap_bio(to_client, to_server, server_hostname=name)
    there = server.wrap_bio(to_server, to_client, server_side=True)
    for side in (here, there, here, there):
        try:
            side.do_handshake()
        except ssl.SSLWantReadError:
            continue
    return hashlib.sha256(here.getpeercert(binary_form=True) or b"").digest().hex(":").upper()


def test_the_names_of_this_machine_are_names_that_a_certificate_can_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: "Wörkshop PC")
    names = own_names("192.0.2.7")
    assert {"localhost", "127.0.0.1", "192.0.2.7"} <= names and not any(" " in name for name in names)
    monkeypatch.setattr(socket, "gethostname", lambda: "Bay-2")
    assert {"bay-2", "bay-2.local"} <= own_names("0.0.0.0") and "0.0.0.0" not in own_names("0.0.0.0")
