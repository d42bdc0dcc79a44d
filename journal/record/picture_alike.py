"""Whether two pictures show the same: both brought down to fewer pixels and held against each other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageOps

_EDGE = 16
_AT_LEAST = (128, 128)
"""What a JPEG is decoded to, pixels: no less, and not twice as much where it can be less."""
_UNLIKE = 0.05
"""Root mean square difference, of 1, above which two pictures are not the same; copies stay well under it."""
_BLOCK = 8
"""Edge of the blocks in which two copies are compared, pixels: JPEG's own, whose mean encoding anew hardly moves."""
_CHANGED = 0.1
"""Difference of a block's red, green or blue, of 1, above which something else is seen there."""


def same_copy(here: Path, other: Image.Image) -> bool:
    """Whether two page copies of a photo show the same everywhere, though one was encoded once more than the other.

    Args:
        here: a JPEG.
        other: another, decoded.
    """
    try:
        with Image.open(here) as image:
            first = image.convert("RGB")
    except Exception:  # what cannot be decoded shows nothing
        return False
    second = other.convert("RGB")
    if first.size != second.size:
        return False
    width, height = (max(1, edge // _BLOCK) for edge in first.size)
    blocks = [np.asarray(one.resize((width, height), Image.Resampling.BOX), np.float64) for one in (first, second)]
    return float(np.max(np.abs(blocks[0] - blocks[1]))) <= 255 * _CHANGED


def alike(original: Path, copy: Path) -> bool:
    """Whether a copy shows what its original does, as far as 16 by 16 pixels tell.

    Where the original cannot be read there is nothing to compare with, and it is held to do so.

    Args:
        original: the picture as the camera wrote it, in any of the formats taken in.
        copy: a JPEG made from it, upright.
    """
    import pillow_heif

    pillow_heif.register_heif_opener()
    try:
        wanted = _small(original)
    except Exception:  # a damaged original is found by its checksum
        return True
    try:
        found = _small(copy)
    except Exception:  # a copy that cannot be decoded is none
        return False
    return float(np.sqrt(np.mean((wanted - found) ** 2))) <= _UNLIKE


def _small(path: Path) -> npt.NDArray[np.float64]:
    """A picture as shades of grey from 0 to 1, shape (16, 16), upright, on white where it is transparent."""
    with Image.open(path) as image:
        image.draft("RGB", _AT_LEAST)
        upright = ImageOps.exif_transpose(image)
        if upright.mode.startswith("I"):  # 16 bits of grey
            deep = np.asarray(upright, dtype=np.float64) / 65_535
            upright = Image.fromarray((deep * 255).astype(np.uint8))
        if upright.mode not in ("RGB", "L"):
            backed = upright.convert("RGBA")
            upright = Image.alpha_composite(Image.new("RGBA", backed.size, "white"), backed)
        grey = upright.convert("L").resize((_EDGE, _EDGE), Image.Resampling.BOX)
        return np.asarray(grey, dtype=np.float64) / 255
