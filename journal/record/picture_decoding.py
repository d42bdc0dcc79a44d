"""A photo of any kind in, its picture at page size out: upright, in plain colours, with nothing else attached.

Memory is the measure: a 49-megapixel photo is 200 MB once it is decoded. What can be decoded at a fraction of its size
is, and of what cannot no second whole picture is made on the way: it is brought down and recoloured strip by strip.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import numpy as np
from PIL import Image, ImageCms, ImageFile

STRIP = 256
"""Rows that are brought down at once, about."""

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What puts a picture of each Exif orientation upright (Exif 2.32, tag 0112)."""


def decoded(image: Image.Image, edge: int, edge_left: int, orientation: int) -> Image.Image:
    """The picture of an image that was opened and not yet decoded; its decoder may raise nearly anything.

    Args:
        image: as Pillow opened it.
        edge: what the longest edge of a larger picture is brought down to, pixels.
        edge_left: a picture up to this size is left as it is, pixels.
        orientation: as in Exif, 1 to 8; anything else counts as 1.

    Returns:
        an image of mode RGB or L in sRGB, with an empty `info`.
    """
    colours = image.info.get("icc_profile")
    jpeg = image.format in ("JPEG", "MPO")
    if jpeg:
        # It is decoded at 1/2, 1/4 or 1/8: far less work and memory. Both edges must be asked for in proportion.
        width, height = (max(1, edge * side // max(image.size)) for side in image.size)
        image.draft("RGB", (width, height))
    if image.format == "HEIF" or (max(image.size) > edge_left and not (jpeg and image.mode in ("RGB", "L"))):
        image = _by_strips(image, max(1, max(image.size) // edge) if max(image.size) > edge_left else 1)
    if max(image.size) > edge_left:
        image.thumbnail((edge, edge), Image.Resampling.BILINEAR, reducing_gap=1.5)
    image = _plain(image)
    turn = _TURNS.get(orientation)
    upright = image.transpose(turn) if turn is not None else image
    upright.load()
    upright.info.clear()
    return _in_srgb(upright, colours)


def _by_strips(image: Image.Image, factor: int) -> Image.Image:
    """The picture in plain colours, brought down by a whole factor, without a second whole one on the way."""
    target: Image.Image | None = None
    high = -(-STRIP // factor) * factor
    for top, strip in _strips(image, high):
        small = _plain(strip)
        small = small.reduce(factor) if factor > 1 else small
        if target is None:
            size = (-(-image.width // factor), -(-image.height // factor))
            target = Image.new(small.mode, size)
        target.paste(small, (0, top // factor))
    assert target is not None
    return target


def _strips(image: Image.Image, high: int) -> Iterator[tuple[int, Image.Image]]:
    """Strips of the picture from its top, each with the row where it begins."""
    pixels = _heif_pixels(image)
    for top in range(0, image.height, high):
        bottom = min(top + high, image.height)
        if pixels is None:
            yield top, image.crop((0, top, image.width, bottom))
        else:
            yield top, Image.fromarray(np.ascontiguousarray(pixels[top:bottom, : image.width]))


def _heif_pixels(image: Image.Image) -> Any:
    """A HEIC's pixels as libheif decoded them, shape (height, width or more, channels); none for other kinds.

    Pillow would copy all of them once more.
    """
    if image.format != "HEIF":
        return None
    import pillow_heif

    assert isinstance(image, ImageFile.ImageFile) and image.fp is not None
    image.fp.seek(0)
    file = pillow_heif.open_heif(image.fp, convert_hdr_to_8bit=True, remove_stride=False)
    pixels = np.asarray(file[file.primary_index])
    if (pixels.shape[0], file.size) != (image.height, image.size):
        raise ValueError("its size changes while it is decoded")
    return pixels


def _plain(image: Image.Image) -> Image.Image:
    """The picture as RGB or L: what can be seen through stands on white."""
    if image.mode in ("RGB", "L"):
        return image
    if image.mode.startswith("I") or image.mode == "F":  # grey of 16 bits: the eight that are seen
        grey = np.asarray(image).astype(np.float32) / 257
        return Image.fromarray(grey.clip(0, 255).astype(np.uint8))
    if image.mode in ("CMYK", "YCbCr", "LAB", "HSV", "1"):
        return image.convert("L" if image.mode == "1" else "RGB")
    backed = image.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", backed.size, "white"), backed).convert("RGB")


def _in_srgb(image: Image.Image, profile: object) -> Image.Image:
    """The picture in the colours that are meant where nothing is said; a profile that makes no sense is left out.

    A profile is no part of the picture: it may name the device, its owner and whatever else was written into it.
    """
    if not isinstance(profile, bytes) or image.mode != "RGB":
        return image
    try:
        theirs, ours = ImageCms.getOpenProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB")
        changed = ImageCms.profileToProfile(image, theirs, ours, outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image
    if changed is None:
        return image
    changed.info.clear()
    return changed
