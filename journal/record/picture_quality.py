"""Whether a photo is worth having, said while the person is still at the engine: sharpness and exposure."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from PIL import Image

Grey = npt.NDArray[np.float32]
"""A grey picture, shape (height, width), 0 black to 255 white."""

_EDGE = 800
"""Longest edge of the grey picture that is measured, pixels."""
_REACH = 9
"""Width of the blur that a picture is compared with, pixels."""
_TILES = 3
MOST_BLUR = 0.62
"""Blur of the sharpest part above which a picture is called blurred, 0 to 1."""
DARK, BRIGHT = 28.0, 232.0
"""The nine tenths of a picture lying under, or over, such a grey make it too dark or too bright."""


def quality_warning(image: Image.Image) -> str:
    """What is wrong with a picture and what to do; empty when nothing is."""
    grey = image.convert("L")
    grey.thumbnail((_EDGE, _EDGE), Image.Resampling.BOX)
    values = np.asarray(grey, dtype=np.float32)
    if float(np.quantile(values, 0.9)) < DARK:
        return "too dark: take it again with a light"
    if float(np.quantile(values, 0.1)) > BRIGHT:
        return "too bright: take it again without the glare"
    return "blurred: take it again" if least_blur(values) > MOST_BLUR else ""


def least_blur(grey: Grey) -> float:
    """Blur of the sharpest of nine tiles, 0 (crisp) to 1 (nothing to see).

    The no-reference measure of F. Crete, T. Dolmiere, P. Ladret and M. Nicolas, "The blur effect: perception and
    estimation with a new no-reference perceptual blur metric", SPIE 6492 (2007): how much of the difference between
    neighbouring pixels survives another blur. A sharp picture loses most of it, a blurred one has little left to lose.
    """
    if min(grey.shape) < _REACH * _TILES:
        return blur(grey)
    tiles = [tile for band in np.array_split(grey, _TILES) for tile in np.array_split(band, _TILES, axis=1)]
    return min(blur(tile) for tile in tiles)


def blur(grey: Grey) -> float:
    """The measure named in `least_blur` for one picture, the worse of its two directions."""
    return max(_blur_along(grey), _blur_along(grey.T))


def _blur_along(grey: Grey) -> float:
    if grey.shape[0] <= _REACH:
        return 1.0
    sums = np.cumsum(grey, axis=0, dtype=np.float64)
    blurred = (sums[_REACH:] - sums[:-_REACH]) / _REACH
    trim = _REACH // 2 + 1
    sharp = np.abs(np.diff(grey[trim : trim + blurred.shape[0]], axis=0))
    lost = np.maximum(0.0, sharp - np.abs(np.diff(blurred, axis=0)))
    total = float(sharp.sum())
    # Under one grey step in a hundred pixels there is nothing to judge by.
    return 1.0 - float(lost.sum()) / total if total > 0.01 * sharp.size else 1.0
