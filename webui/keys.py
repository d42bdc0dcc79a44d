"""The key that signs cookies and links: made once, kept in the journal folder, readable by its owner only."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from journal.errors import RecordError

_NAME = "page.key"
_BYTES = 32


def signing_key(folder: Path) -> bytes:
    """The journal's signing key, 32 bytes; made on first use.

    Raises:
        RecordError: when it can neither be read nor written, or is not a key.
    """
    path = folder / _NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        except FileExistsError:
            key = path.read_bytes()
        else:
            key = secrets.token_bytes(_BYTES)
            with os.fdopen(handle, "wb") as file:
                file.write(key)
    except OSError as error:
        raise RecordError(f"{path}: cannot be used as the page's key: {error.strerror}; check the folder") from None
    if len(key) != _BYTES:
        raise RecordError(f"{path}: is not a key of {_BYTES} bytes; delete it, and every device and link starts anew")
    return key
