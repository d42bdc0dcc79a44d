"""A picture of a screen in, its labelled numbers out: texts, pairs by layout, and what leaves them in doubt."""

from __future__ import annotations

from dataclasses import replace

from PIL import Image

from journal.seeing.pairing import paired
from journal.seeing.texts import seen_texts
from journal.seeing.types import Labelled, Meant

SURE = 0.9
"""Certainty of a number's least certain character from which it is taken as read."""


def read_screen(image: Image.Image, meant: Meant) -> tuple[Labelled, ...]:
    """The numbers on a picture of a screen, with what belongs to each.

    Args:
        image: upright by its Exif, mode RGB or L.
        meant: what a label and a unit mean.

    Returns:
        The numbers from top to bottom; none where none is seen.

    Raises:
        BadInput: when the `photo` extra is not installed.
    """
    numbers = paired(seen_texts(image), meant)
    return tuple(_doubted(number) for number in numbers)


def _doubted(number: Labelled) -> Labelled:
    if number.certainty >= SURE:
        return number
    return replace(number, doubt="; ".join(filter(None, ("hard to read", number.doubt))))
