"""The segments of a JPEG before its first scan (ITU-T T.81, annex B): what decoding takes, and what is no picture."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import IO

_FRAMES = frozenset({0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF})
"""Start of frame (table B.1)."""
_BY_SPECTRUM = frozenset({0xC2, 0xC6, 0xCA, 0xCE})
"""Of a progressive one."""
_APP0, _SCAN = 0xE0, 0xDA
_ONLY_PICTURE = frozenset({0xDB, 0xC0, 0xC1, 0xC2, 0xC4, 0xDD, _SCAN})
"""What makes the picture of an ordinary one: tables, frame, restart interval, scan."""


def coefficients_held(file: IO[bytes]) -> int:
    """How many coefficients a decoder holds at once: all where they come in several scans, else none to speak of.

    Args:
        file: the JPEG, open for reading; its position stays.
    """
    parts, held, by_spectrum, at = 0, 0, False, file.tell()
    segments = list(_segments(file))
    file.seek(at)
    for kind, content in segments:
        if kind in _FRAMES and len(content) >= 6:
            parts, by_spectrum = content[5], kind in _BY_SPECTRUM
            height, width = int.from_bytes(content[1:3]), int.from_bytes(content[3:5])
            sampling = [(factors >> 4, factors & 15) for factors in content[7 : 6 + 3 * parts : 3]]
            across, down = max((h for h, _ in sampling), default=1), max((v for _, v in sampling), default=1)
            held = round(width * height * sum(h * v for h, v in sampling) / max(1, across * down))
        elif kind == _SCAN and content:
            return held if by_spectrum or content[0] < parts else 0
    return held


def carries_more(path: Path) -> bool:
    """Whether a JPEG carries anything beside its picture: Exif, a colour profile, a comment, a small picture."""
    with path.open("rb") as file:
        for kind, content in _segments(file):
            if kind == _SCAN:
                return False
            plain = kind in _ONLY_PICTURE or (kind == _APP0 and len(content) == 14 and content.startswith(b"JFIF\0"))
            if not plain:
                return True
    return True


def _segments(file: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    """Each segment's kind and content up to the first scan's head; they end early where it is no JPEG."""
    file.seek(0)
    if file.read(2) == b"\xff\xd8":
        while file.read(1) == b"\xff":
            while (kind := file.read(1)) == b"\xff":  # fill bytes (B.1.1.2)
                pass
            size = int.from_bytes(file.read(2)) - 2
            if size < 0 or not kind:
                break
            content = file.read(min(size, 1024))
            file.seek(size - len(content), io.SEEK_CUR)
            yield kind[0], content
            if kind[0] == _SCAN:
                break
