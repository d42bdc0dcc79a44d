"""Pictures arranged for the tests: drawn scenes as files of several kinds, with the Exif a phone would write."""

from __future__ import annotations

import io
from functools import cache
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFilter


@cache
def scene(width: int = 640, height: int = 480, seed: int = 1) -> Image.Image:
    """A busy drawn scene: soft colours, hard-edged rings, some grain; the top left corner is red."""
    rng = np.random.default_rng(seed)
    patches = rng.integers(30, 220, (height // 20, width // 20, 3), dtype=np.uint8)
    picture = Image.fromarray(patches).resize((width, height), Image.Resampling.BICUBIC)
    pen = ImageDraw.Draw(picture)
    for _ in range(200):
        x, y, r = rng.integers(0, width), rng.integers(0, height), rng.integers(4, width // 12)
        pen.ellipse((x - r, y - r, x + r, y + r), outline=tuple(int(v) for v in rng.integers(0, 255, 3)), width=2)
    grain = np.asarray(picture).astype(np.int16) + rng.normal(0, 3, (height, width, 3)).astype(np.int16)
    picture = Image.fromarray(grain.clip(0, 255).astype(np.uint8))
    ImageDraw.Draw(picture).rectangle((0, 0, width // 5, height // 5), fill="red")
    return picture


def phone_exif(*, orientation: int = 1, offset: str | None = "+02:00", location: bool = True) -> Image.Exif:
    """What a phone writes: moment, offset, orientation, and where it was."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Invented Phones"
    details = exif.get_ifd(0x8769)
    details[0x9003] = "2026:03:01 10:00:05"
    details[0x9291] = "250"
    if offset is not None:
        details[0x9011] = offset
    if location:
        place = exif.get_ifd(0x8825)
        place[1], place[2] = "N", (48.0, 12.0, 30.5)
        place[3], place[4] = "E", (11.0, 34.0, 12.25)
    return exif


def file_of(picture: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    """The picture as a file of that kind."""
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def blurred(picture: Image.Image, radius: float) -> Image.Image:
    """The picture out of focus."""
    return picture.filter(ImageFilter.GaussianBlur(radius))
