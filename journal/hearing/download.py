"""An address turned into a file: gone on with where it broke off, its checksum compared, never half there."""

from __future__ import annotations

import http.client
import re
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

from journal.errors import HearingError
from journal.hearing.weights import checksum

_BLOCK = 1 << 16
_PATIENCE_S = 30
"""A server that says nothing for so long is taken for gone."""
_PARTIAL = 206
_PAST_THE_END = 416


def download(address: str, target: Path, sha256: str, progress: Callable[[float], None]) -> None:
    """Gets a file whole; what has come so far is kept beside it when the line breaks, and gone on with next time.

    Args:
        address: where it is.
        target: the file to make; nothing is there until all of it has come and its checksum is right.
        sha256: in hexadecimal; empty when none is known, and then only the length is compared.
        progress: takes how much is there, 0 to 1.

    Raises:
        HearingError: offline, refused, broken off, no room, or not the file that was expected.
    """
    part = target.with_name(target.name + ".part")
    try:
        whole = _receive(address, part, progress)
        size = part.stat().st_size
    except OSError as error:
        raise HearingError(_trouble(address, error)) from error
    except http.client.HTTPException as error:
        raise HearingError(f"{address} broke off ({error}); run the same again to go on from there") from error
    if whole is not None and size < whole:
        raise HearingError(
            f"{address} broke off at {size / 1e6:.1f} of {whole / 1e6:.1f} MB; run the same again to go on from there"
        )
    if (whole is not None and size > whole) or (sha256 and checksum(part) != sha256):
        part.unlink()
        raise HearingError(
            f"{address} gave another file than expected (length or SHA-256 differs); it was not kept, try again"
        )
    part.replace(target)


def _receive(address: str, part: Path, progress: Callable[[float], None]) -> int | None:
    """Adds what is missing to `part`; the whole file's length in bytes as the server states it."""
    have = part.stat().st_size if part.exists() else 0
    # Servers may compress on their own, and then ranges mean nothing.
    headers = {"Accept-Encoding": "identity"} | ({"Range": f"bytes={have}-"} if have else {})
    request = urllib.request.Request(address, headers=headers)
    try:
        answer = urllib.request.urlopen(request, timeout=_PATIENCE_S)
    except urllib.error.HTTPError as error:
        if error.code == _PAST_THE_END and have:
            # Nothing is missing, or the file there is another one now: its length and its checksum tell which.
            return _stated_whole(error.headers.get("Content-Range", ""))
        raise
    with answer:
        goes_on = answer.status == _PARTIAL and answer.headers.get("Content-Range", "").startswith(f"bytes {have}-")
        if not goes_on:
            have = 0
        length = answer.headers.get("Content-Length")
        whole = have + int(length) if length and length.isdigit() else None
        with part.open("ab" if goes_on else "wb") as file:
            while block := answer.read(_BLOCK):
                file.write(block)
                have += len(block)
                if whole:
                    progress(min(1.0, have / whole))
    return whole


def _stated_whole(content_range: str) -> int | None:
    found = re.fullmatch(r"bytes \*/(\d+)", content_range.strip())
    return int(found[1]) if found else None


def _trouble(address: str, error: OSError) -> str:
    if isinstance(error, urllib.error.HTTPError):
        return f"{address} answered {error.code}: it may have moved; models_readme tells how to get a model by hand"
    if isinstance(error, urllib.error.URLError | TimeoutError | ConnectionError):
        reason = getattr(error, "reason", error)
        return (
            f"{address} cannot be reached ({reason}); what has come so far is kept: try again when there is a network, "
            "or carry the file here by hand as models_readme tells"
        )
    return f"the download cannot be kept ({error.strerror or error}); make room or choose another journal folder"
