"""The key that signs cookies and links: made once, kept in the journal folder, readable by its owner only."""

from __future__ import annotations

import secrets
from pathlib import Path

from journal.errors import RecordError
from journal.record.files import file_errors, read_file, write_once

_NAME = "page.key"
_BYTES = 32


def signing_key(folder: Path) -> bytes:
    """The journal's signing key, 32 bytes; made on first use.

    Raises:
        RecordError: when it can neither be read nor written, or is not a key.
    """
    path = folder / _NAME
    try:
        held = read_file(path) if path.exists() else b""
        # An empty one, as a full disk left it before files were written whole, never signed anything.
        key = held or _made(path)
    except OSError as error:
        raise RecordError(f"{path}: cannot be used as the page's key: {error.strerror}; check the folder") from None
    if len(key) != _BYTES:
        raise RecordError(f"{path}: is not a key of {_BYTES} bytes; delete it, and every device and link starts anew")
    return key


def _made(path: Path) -> bytes:
    with file_errors(path):
        return write_once(path, secrets.token_bytes(_BYTES), instead_of=b"")
