"""The journal's own key: Ed25519 (RFC 8032), made once, its owner's alone; it signs the entries that are made here."""

from __future__ import annotations

import contextlib
import hashlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from journal.errors import RecordError
from journal.record.files import PRIVATE_FILE, file_errors, not_a_file, read_file, write_once
from journal.record.references import LETTERS

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KEY_NAME = "journal.key"
"""The key's file in the journal folder: PKCS #8 in PEM (RFC 5958, RFC 7468), without a password."""
_NAME_LETTERS = 12

_FIELD = 2**255 - 19
_OF_EIGHT = 0x7A03AC9277FDC74EC6CC392CFA53202A0F67100D760B3CBA4FD84D3D706A17C7
_SMALL = frozenset({0, 1, _FIELD - 1, _FIELD, _FIELD + 1, _OF_EIGHT, _FIELD - _OF_EIGHT})
"""The y of every point whose order divides eight, as a key can hold it (RFC 8032, 5.1). Under such a key one signature
fits any message, so that it vouches for nothing."""


@dataclass(frozen=True)
class JournalKey:
    """A journal's key pair."""

    public: bytes
    """The public key, 32 bytes: who the journal is to others."""
    private: Ed25519PrivateKey
    """Signs."""

    def sign(self, message: bytes) -> bytes:
        """The signature of a message, 64 bytes."""
        return self.private.sign(message)


def journal_key(folder: Path) -> JournalKey:
    """The key of the journal in a folder; made on first use, and anew where the file no longer holds one.

    Raises:
        RecordError: it can neither be read nor written.
    """
    path = folder / KEY_NAME
    with file_errors(path):
        held = _held(path)
        found = None if held is None else _from_pem(held)
        if found is None:
            found = _from_pem(write_once(path, _new_pem(), instead_of=held))
        assert found is not None  # written whole, or not at all
    return found


def key_there(folder: Path) -> JournalKey | None:
    """The key where there is a sound one; nothing is made. `RecordError` when the file cannot be read."""
    path = folder / KEY_NAME
    with file_errors(path):
        held = _held(path)
        return None if held is None else _from_pem(held)


def signed_by(public: bytes, signature: bytes, message: bytes) -> bool:
    """Whether that key signed the message; one that anybody can sign by signs nothing."""
    if int.from_bytes(public, "little") % 2**255 in _SMALL:
        return False
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def name_of(public: bytes) -> str:
    """Twelve letters for people to compare by eye or over the telephone, made from the key's SHA-256 (51 bits)."""
    value, letters = int.from_bytes(hashlib.sha256(public).digest()), []
    for _ in range(_NAME_LETTERS):
        value, digit = divmod(value, len(LETTERS))
        letters.append(LETTERS[digit])
    word = "".join(letters)
    return "-".join(word[at : at + 4] for at in range(0, _NAME_LETTERS, 4))


def _new_pem() -> bytes:
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _held(path: Path) -> bytes | None:
    if what := not_a_file(path):
        raise RecordError(
            f"{path} is {what}, not the journal's key: move it away, and put the key of the last backup there"
        )
    try:
        if os.name == "posix" and path.stat().st_mode & 0o077:  # as an unpacked backup leaves it
            with contextlib.suppress(OSError):  # another user's, or on a disk that can only be read
                path.chmod(PRIVATE_FILE)
        return read_file(path)
    except FileNotFoundError:
        return None


def _from_pem(pem: bytes) -> JournalKey | None:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    try:
        private = serialization.load_pem_private_key(pem, None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return None
    if not isinstance(private, Ed25519PrivateKey):
        return None
    public = private.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
    return JournalKey(public, private)
