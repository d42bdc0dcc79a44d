"""JPEGs made segment by segment by ITU-T T.81, annex B (cited from memory): what of them is held, and what is more."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from journal.record.jpeg_segments import carries_more, coefficients_held

PROGRESSIVE = (0xC2, 0xC6, 0xCA, 0xCE)
"""Start of frame of progressive pictures (table B.1)."""
OTHERS = (0xC0, 0xC1, 0xC3, 0xC5, 0xC7, 0xC9, 0xCB, 0xCD, 0xCF)
"""Of all others."""
NO_FRAME = (0xC4, 0xC8, 0xCC)
"""Among them: Huffman tables, reserved, arithmetic conditioning."""


def segment(kind: int, content: bytes, fill: int = 0) -> bytes:
    """A marker segment (B.1.1.4): marker, length with its own two bytes, content."""
    return b"\xff" + b"\xff" * fill + bytes([kind]) + (len(content) + 2).to_bytes(2) + content


def frame(kind: int, width: int, height: int, *sampling: tuple[int, int], fill: int = 0) -> bytes:
    """A frame header (B.2.2): precision, lines, samples a line, components with their sampling factors."""
    parts = b"".join(bytes([n, h << 4 | v, 0]) for n, (h, v) in enumerate(sampling, 1))
    return segment(kind, bytes([8]) + height.to_bytes(2) + width.to_bytes(2) + bytes([len(sampling)]) + parts, fill)


def scan(parts: int) -> bytes:
    """A scan header (B.2.3)."""
    return segment(0xDA, bytes([parts]) + b"".join(bytes([n, 0]) for n in range(1, parts + 1)) + bytes([0, 63, 0]))


def held(*segments: bytes) -> int:
    return coefficients_held(io.BytesIO(b"\xff\xd8" + b"".join(segments)))


COLOURS = ((2, 2), (1, 1), (1, 1))


@pytest.mark.parametrize("kind", PROGRESSIVE)
def test_all_of_a_progressive_picture_is_held(kind: int) -> None:
    assert held(frame(kind, 640, 480, *COLOURS), scan(3)) == 640 * 480 * 6 // 4
    assert held(frame(kind, 640, 480, (1, 1)), scan(1)) == 640 * 480
    assert held(frame(kind, 640, 480, (2, 1), (1, 1), (1, 1)), scan(1)) == 640 * 480 * 2


@pytest.mark.parametrize("kind", OTHERS)
def test_of_any_other_it_is_held_only_where_its_colours_come_in_scans_of_their_own(kind: int) -> None:
    assert held(frame(kind, 640, 480, *COLOURS), scan(3)) == 0
    assert held(frame(kind, 640, 480, *COLOURS), scan(2)) == 640 * 480 * 6 // 4
    assert held(frame(kind, 640, 480, (1, 1)), scan(1)) == 0


@pytest.mark.parametrize("kind", NO_FRAME)
def test_what_stands_among_the_frames_and_is_none_is_passed_over(kind: int) -> None:
    assert held(frame(kind, 640, 480, *COLOURS), scan(1)) == 0
    assert held(frame(0xC2, 64, 48, (1, 1)), frame(kind, 640, 480, *COLOURS), scan(1)) == 64 * 48


def test_fill_bytes_before_a_marker_and_long_segments_are_passed_over() -> None:
    more = segment(0xE1, bytes(5000))
    assert held(more, frame(0xC2, 64, 48, (1, 1), fill=3), scan(1)) == 64 * 48


@pytest.mark.parametrize("end", [b"", b"\xff", b"\xff\xda", b"\xff\xda\0", b"\xff\xda\0\x01", b"ab"])
def test_what_ends_early_is_judged_by_what_came(end: bytes) -> None:
    assert held(frame(0xC2, 64, 48, (1, 1)), end) == 64 * 48
    assert held(end) == 0


def test_a_frame_too_short_to_be_one_is_none() -> None:
    assert held(segment(0xC2, bytes([8, 0, 48, 0, 64])), scan(1)) == 0
    assert held(segment(0xC2, bytes([8, 0, 48, 0, 64, 0])), scan(1)) == 0, "of no component"


JFIF = segment(0xE0, b"JFIF\0" + bytes(9))
PLAIN = [segment(kind, b"x") for kind in (0xDB, 0xC0, 0xC1, 0xC2, 0xC4, 0xDD)]


def more(tmp_path: Path, *segments: bytes) -> bool:
    path = tmp_path / "a.jpg"
    path.write_bytes(b"\xff\xd8" + b"".join(segments))
    return carries_more(path)


def test_tables_frame_restart_interval_and_the_head_of_jfif_are_the_picture(tmp_path: Path) -> None:
    assert not more(tmp_path, JFIF, *PLAIN, scan(1))
    for kind in (0xE1, 0xE2, 0xED, 0xFE, 0xCC, 0xC3):  # Exif, profile, captions, comment, and what ordinary ones lack
        assert more(tmp_path, JFIF, *PLAIN, segment(kind, b"x"), scan(1))


def test_a_small_picture_within_jfifs_head_is_more_and_so_is_another_application(tmp_path: Path) -> None:
    """JFIF 1.02: fourteen bytes, then a thumbnail."""
    assert more(tmp_path, segment(0xE0, b"JFIF\0" + bytes(10)), *PLAIN, scan(1))
    assert more(tmp_path, segment(0xE0, b"JFXX\0" + bytes(9)), *PLAIN, scan(1))


def test_what_comes_to_no_scan_is_no_picture_to_show(tmp_path: Path) -> None:
    assert more(tmp_path, JFIF, *PLAIN)
    assert more(tmp_path)
