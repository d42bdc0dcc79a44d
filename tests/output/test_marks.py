"""What was drawn on a photo is on the photo in papers too; the original's pixels elsewhere stay as they are."""

from __future__ import annotations

import io
import math

import pytest
from PIL import Image

from journal.facts import PhotoMark
from journal.output.marks import wings, with_marks


@pytest.fixture
def grey() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (800, 600), (90, 90, 90)).save(made, "JPEG", quality=95)
    return made.getvalue()


def lit(jpeg: bytes) -> set[tuple[int, int]]:
    """Pixels in the marks' light colour."""
    with Image.open(io.BytesIO(jpeg)) as image:
        pixels = image.load()
        assert pixels is not None
        spots = ((x, y, pixels[x, y]) for x in range(image.width) for y in range(image.height))
        return {(x, y) for x, y, (r, g, b) in spots if r > 200 and g > 180 and b < 190}


def test_without_marks_the_photo_is_as_it_was(grey: bytes) -> None:
    assert with_marks(grey, ()) == grey


def test_a_ring_lies_on_its_circle(grey: bytes) -> None:
    found = lit(with_marks(grey, [PhotoMark("sha", "ring", 0.5, 0.5, 0.625, 0.5)]))
    assert len(found) > 500
    assert all(math.dist(spot, (400, 300)) == pytest.approx(100, abs=8) for spot in found)


def test_an_arrow_ends_in_its_head_and_a_word_stands_above_it(grey: bytes) -> None:
    arrow = PhotoMark("sha", "arrow", 0.25, 0.5, 0.75, 0.5)
    found = lit(with_marks(grey, [arrow]))
    assert max(x for x, _ in found) == pytest.approx(600, abs=6)
    assert {y for x, y in found if 300 < x < 500} <= set(range(294, 307))
    worded = lit(with_marks(grey, [PhotoMark("sha", "arrow", 0.25, 0.5, 0.75, 0.5, text="worn")]))
    above = {(x, y) for x, y in worded if x < 240 and y < 290}
    assert len(above) > 50 and not any(x < 240 and y < 290 for x, y in found)


def test_an_arrows_wings_are_as_long_as_asked_and_meet_in_its_tip() -> None:
    one, tip, other = wings((0, 0), (10, 0), 2.0)
    assert tip == (10, 0)
    assert math.dist(one, tip) == pytest.approx(2.0) == math.dist(other, tip)
    assert one[1] == pytest.approx(-other[1]) and one[0] < 10
