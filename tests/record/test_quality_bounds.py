"""Where a photo begins to be too dark, too bright or blurred, at the very bounds."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from journal.record import picture_quality
from journal.record.picture_quality import WIDEST_EDGE, edge_width, quality_warning


def picture(dark: int, bright: int, share: float) -> Image.Image:
    """100 by 100 pixels of two greys, a share of them bright, in stripes that are edges enough to judge."""
    grey = np.full((100, 100), dark, dtype=np.uint8)
    grey[:, : round(100 * share)] = bright
    return Image.fromarray(grey)


@pytest.mark.parametrize(
    ("grey", "warning"),
    [(27, "too dark"), (28, "blurred"), (100, "blurred"), (232, "blurred"), (233, "too bright")],
)
def test_a_flat_picture_is_too_dark_under_28_and_too_bright_over_232(grey: int, warning: str) -> None:
    assert quality_warning(picture(grey, grey, 0)).startswith(warning)


@pytest.mark.parametrize(("share", "dark"), [(0.08, True), (0.12, False)])
def test_a_tenth_of_light_is_enough_light(share: float, dark: bool) -> None:
    assert quality_warning(picture(5, 200, share)).startswith("too dark") is dark


@pytest.mark.parametrize(("share", "glaring"), [(0.92, True), (0.88, False)])
def test_a_tenth_of_shade_is_enough_shade(share: float, glaring: bool) -> None:
    assert quality_warning(picture(100, 250, share)).startswith("too bright") is glaring


def stripes(width: float, height: float = 200.0, lines: int = 100) -> np.ndarray:
    """Edges in the middle of every window, each climbing evenly over so many pixels."""
    x = np.arange(160)
    ramp = np.clip((x - 80) / width + 0.5, 0, 1) * height
    return np.tile(ramp, (lines, 1)).astype(np.float32)


@pytest.mark.parametrize("width", [2, 3, 4, 5])
def test_an_even_climb_is_as_wide_as_it_is(width: int) -> None:
    assert edge_width(stripes(width)) == pytest.approx(width, rel=0.01)
    assert edge_width(stripes(width).T) == pytest.approx(width, rel=0.01)


def test_an_edge_in_the_one_window_of_a_narrow_picture_is_seen_and_narrower_ones_have_none() -> None:
    narrow = stripes(2)[:, 72:88]
    assert edge_width(narrow) == edge_width(narrow.T) == pytest.approx(2, rel=0.01)
    for width in (1, 7, 15):
        assert edge_width(narrow[:, :width]) == edge_width(narrow[:, :width].T) == float("inf")


def test_an_edge_counts_from_forty_greys_and_fifty_of_them_make_a_picture() -> None:
    assert np.isfinite(edge_width(stripes(2, height=40.0)))
    assert not np.isfinite(edge_width(stripes(2, height=39.0)))
    fewest = next(n for n in range(1, 100) if np.isfinite(edge_width(stripes(2, lines=n))))
    assert fewest == 50, "one window of each line holds the edge in its middle"


def test_the_widest_edge_that_is_sharp_parts_what_was_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    assert WIDEST_EDGE == 3.6
    with monkeypatch.context() as patched:
        patched.setattr(picture_quality, "edge_width", lambda values: WIDEST_EDGE)
        assert quality_warning(picture(40, 200, 0.5)) == ""
    for width, warned in ((3.5, False), (3.7, True)):
        photo = Image.fromarray(np.clip(stripes(width) + 20, 0, 255).astype(np.uint8))
        assert bool(quality_warning(photo)) is (edge_width(np.asarray(photo, dtype=np.float32)) > WIDEST_EDGE)
        assert bool(quality_warning(photo)) is warned
