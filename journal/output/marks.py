"""A photo and the marks on it in, the photo with them drawn out, for papers that hold pictures and no layers."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

from PIL import Image, ImageDraw, ImageFont

from journal.facts import PhotoMark, Seen
from journal.output import plain

_UNDER, _OVER = "#111417", "#ffe27a"
"""A dark edge under a light line is seen on any photo."""

PART_EDGE = 900
"""Longest edge of a part of a photo, pixels."""
_LEFT, _RIGHT, _OVER_UNDER = 14.0, 4.0, 1.8
"""How much of a photo is shown around a number, in its heights: labels stand to the left, above or below."""

Point = tuple[float, float]


def wings(tail: Point, head: Point, size: float) -> tuple[Point, Point, Point]:
    """An arrow's head as three points, its tip between two wings.

    Args:
        tail: where the arrow begins, pixels.
        head: where it points, pixels.
        size: length of a wing, pixels.
    """
    angle = math.atan2(head[1] - tail[1], head[0] - tail[0])
    one, other = ((head[0] - size * math.cos(angle + t), head[1] - size * math.sin(angle + t)) for t in (0.5, -0.5))
    return one, head, other


def with_marks(jpeg: bytes, marks: Sequence[PhotoMark]) -> bytes:
    """The same JPEG with rings, arrows and their words drawn on it; untouched where there are none.

    Raises:
        OSError: when it is no JPEG.
    """
    if not marks:
        return jpeg
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as image:
        picture = image.convert("RGB")
    pen, line = ImageDraw.Draw(picture), max(2, round(0.005 * picture.width))
    font = ImageFont.load_default(size=max(12, round(0.035 * picture.width)))
    for mark in marks:
        _draw(pen, mark, picture.size, line, font)
    made = io.BytesIO()
    picture.save(made, "JPEG", quality=88)
    return made.getvalue()


def part_with(jpeg: bytes, seen: Seen) -> bytes:
    """The part of a photo around a number that was read on it, so that its label is in sight, with a frame around it.

    Raises:
        OSError: when it is no JPEG.
    """
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as image:
        picture = image.convert("RGB")
    left, right = seen.x0 * picture.width, seen.x1 * picture.width
    upper, lower = seen.y0 * picture.height, seen.y1 * picture.height
    high = max(lower - upper, 1.0)
    pen, line = ImageDraw.Draw(picture), max(1, round(0.06 * high))
    for colour, thick in ((_UNDER, 3 * line), (_OVER, 2 * line)):
        room = 2 * line + thick
        pen.rectangle((left - room, upper - room, right + room, lower + room), outline=colour, width=thick)
    part = picture.crop((
        round(max(left - _LEFT * high, 0)), round(max(upper - _OVER_UNDER * high, 0)),
        round(min(right + _RIGHT * high, picture.width)), round(min(lower + _OVER_UNDER * high, picture.height)),
    ))  # fmt: skip
    part.thumbnail((PART_EDGE, PART_EDGE))
    made = io.BytesIO()
    part.save(made, "JPEG", quality=88)
    return made.getvalue()


def _draw(
    pen: ImageDraw.ImageDraw,
    mark: PhotoMark,
    size: tuple[int, int],
    line: int,
    font: ImageFont.ImageFont | ImageFont.FreeTypeFont,
) -> None:
    width, height = size
    start, end = (mark.x0 * width, mark.y0 * height), (mark.x1 * width, mark.y1 * height)
    radius = math.dist(start, end) if mark.shape == "ring" else 0.0
    for colour, thick in ((_UNDER, 3 * line), (_OVER, line)):
        if mark.shape == "ring":
            pen.circle(start, radius + thick / 2, outline=colour, width=thick)
        else:
            pen.line((start, end), fill=colour, width=thick)
            pen.line(wings(start, end, 0.035 * max(size)), fill=colour, width=thick, joint="curve")
    if mark.text:
        above = (start[0], start[1] - radius - 2 * line)
        pen.text(
            above, plain.line(mark.text), fill=_OVER, font=font, anchor="ms", stroke_width=line, stroke_fill=_UNDER
        )
