"""Text on pictures that others made, read as it stands there.

`page` and `text` come with scikit-image (`skimage.data`): a printed page photographed in uneven light, "useful for
demonstrations requiring uneven background illumination", and handwriting in perspective. What stands on the page can be
read off it by anyone, and is what the documentation of scikit-image said under that heading (from memory).
"""

from __future__ import annotations

import pytest
from PIL import Image
from rapidfuzz.distance import Levenshtein

from journal.seeing import can_see, seen_texts
from journal.shown import shown

PAGE = (
    "Region-based segmentation",
    "Let us first determine markers of the coins and the",
    "background. These markers are pixels that we can label",
    "unambiguously as either object or background. Here,",
    "the markers are found at the two extreme parts of the",
    "histogram of grey values",
    "markers = np.zeros_like(coins)",
)
pytestmark = pytest.mark.skipif(not can_see(), reason="the photo extra is not installed")


def picture(name: str) -> Image.Image:
    data = pytest.importorskip("skimage.data", reason="the test extra is not installed")
    return Image.fromarray(getattr(data, name)())


def test_a_printed_page_in_uneven_light_is_read_to_the_letter() -> None:
    lines = [text.text for text in sorted(seen_texts(picture("page")), key=lambda text: text.centre[1])]
    wrong = sum(min(Levenshtein.distance(line, read) for read in lines) for line in PAGE)
    assert wrong == 0, lines


def test_handwriting_in_perspective_gives_no_number_that_is_sure() -> None:
    assert not any(number.sure for number in shown(picture("text")))
