"""Whether a journal's page is served already, and the address that lets a browser of its owner in."""

from __future__ import annotations

import contextlib
import socket
from pathlib import Path
from urllib.parse import urlsplit

from journal.record.files import PRIVATE_FILE, read_file

ADDRESS_FILE = "page.address"
"""Beside the entries, its owner's alone: the address that stands where the journal was started."""


def keep_address(folder: Path, address: str) -> None:
    """Keep the address for whoever starts the same journal once more; a folder that takes no file is left so."""
    path = folder / ADDRESS_FILE
    with contextlib.suppress(OSError):
        fresh = path.with_suffix(".new")
        fresh.touch(PRIVATE_FILE)
        fresh.write_text(address, encoding="utf-8")
        fresh.replace(path)


def forget_address(folder: Path) -> None:
    """The page is served no more."""
    with contextlib.suppress(OSError):
        (folder / ADDRESS_FILE).unlink()


def address_of_running(folder: Path) -> str:
    """The address of the page of this journal that is served already; empty where none is."""
    try:
        address = read_file(folder / ADDRESS_FILE).decode("utf-8").strip()
        parts = urlsplit(address)
        with socket.create_connection((parts.hostname or "", parts.port or 0), timeout=2):
            return address
    except (OSError, ValueError):
        return ""
