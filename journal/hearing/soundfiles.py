"""A file in, which kind of sound it is out: what is none of the few kinds that are read never reaches libsndfile.

libsndfile guesses among some thirty kinds, most of them of machines long gone, whose readers are where its known faults
lie (CVE-2022-33065 in AU and MAT4, CVE-2025-52194 in IRCAM; both from memory). The guess is made here first.
"""

from __future__ import annotations

from pathlib import Path
from typing import IO

KINDS = ("WAV", "FLAC", "OGG", "AIFF", "MP3")
"""What recorders and telephones write."""

_MOST_TAGS = 4
"""ID3 tags that may stand before the sound, each skipped by its own length."""


def sound_kind(path: Path) -> str | None:
    """One of the `KINDS` by a file's first bytes, or none.

    RIFF, RF64 and IFF name the form at byte 8; an ID3v2 tag states its length in four bytes of seven bits (ID3v2.4.0
    structure, section 3.1); an MPEG audio frame begins with eleven ones, then a version and a layer that are not the
    reserved ones (ISO/IEC 11172-3, 2.4.1.3).

    Raises:
        OSError: the file cannot be read.
    """
    with path.open("rb") as file:
        tagged = False
        for _ in range(_MOST_TAGS + 1):
            head = file.read(12)
            if head[:3] != b"ID3":
                return _kind(head, tagged=tagged)
            tagged = True
            _skip_tag(file, head)
    return None


def _skip_tag(file: IO[bytes], head: bytes) -> None:
    length = 0
    for byte in head[6:10]:
        length = length << 7 | byte & 0x7F
    file.seek(10 + length - len(head), 1)


def _kind(head: bytes, *, tagged: bool) -> str | None:
    if head[:4] == b"fLaC":
        return "FLAC"
    if len(head) > 2 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0 and head[1] & 0x18 != 0x08 and head[1] & 0x06:
        return "MP3"
    if tagged:
        return None
    if head[:4] == b"OggS":
        return "OGG"
    if head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE":
        return "WAV"
    return "AIFF" if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC") else None
