"""Blur against scikit-image, on the photographs of people, things and pages that it carries."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from scipy.stats import spearmanr

from journal.record.picture_quality import edge_width, quality_warning

skimage = pytest.importorskip("skimage", reason="scikit-image is not installed: no independent judge of blur")

PHOTOS = ("astronaut", "camera", "chelsea", "coffee", "coins", "page", "rocket")
SIGMAS = (0.0, 1.0, 2.0, 3.0, 4.5, 7.0)
"""Standard deviations of the blur, pixels of a photo of some 500."""


def grey(name: str) -> np.ndarray:
    """A photograph in grey, 0 to 255."""
    import skimage.data

    photo = np.asarray(getattr(skimage.data, name)())
    return np.asarray(Image.fromarray(photo).convert("L"), dtype=np.float32)


def blurred(photo: np.ndarray, sigma: float) -> np.ndarray:
    """By scikit-image's Gaussian."""
    import skimage.filters

    return np.asarray(skimage.filters.gaussian(photo, sigma, preserve_range=True), dtype=np.float32)


@pytest.mark.parametrize("name", PHOTOS)
def test_the_more_blurred_photo_is_the_more_blurred_to_both(name: str) -> None:
    """`skimage.measure.blur_effect`: F. Crete, T. Dolmiere, P. Ladret and M. Nicolas, "The blur effect", SPIE 2007."""
    from skimage.measure import blur_effect

    photos = [blurred(grey(name), sigma) for sigma in SIGMAS]
    ours = [min(edge_width(photo), 1e6) for photo in photos]
    theirs = [blur_effect(photo) for photo in photos]
    assert spearmanr(ours, theirs).statistic > 0.9
    assert ours[0] < ours[2] <= ours[4]


def test_what_is_called_blurred_is_so_to_the_other_judge_over_all_photos() -> None:
    """One line through scikit-image's own measure parts the photos as ours does, but for a few near it."""
    from skimage.measure import blur_effect

    called, measured = [], []
    for name in PHOTOS:
        for sigma in SIGMAS:
            photo = blurred(grey(name), sigma)
            called.append(quality_warning(Image.fromarray(photo.astype(np.uint8))).startswith("blurred"))
            measured.append(float(blur_effect(photo)))
    best = max(np.mean([(m > line) == c for m, c in zip(measured, called, strict=True)]) for line in measured)
    assert 0.2 < np.mean(called) < 0.8
    assert best >= 0.9
