"""A photo of a screen in, its numbers with what they measure out, doubted where an engine cannot read that."""

from __future__ import annotations

from dataclasses import replace

from PIL import Image

from journal.facts import UNITS
from journal.seeing import Labelled, read_screen
from journal.wording.labels import quantity_of_label
from journal.wording.unit_sense import possible


def shown(image: Image.Image) -> tuple[Labelled, ...]:
    """The numbers on a picture of a screen.

    Args:
        image: upright by its Exif, mode RGB or L.

    Returns:
        The numbers, those without label or quantity too; none where none is seen.

    Raises:
        BadInput: when the `photo` extra is not installed.
    """
    return tuple(_believed(number) for number in read_screen(image, quantity_of_label))


def _believed(number: Labelled) -> Labelled:
    """The number, doubted where it is none that its quantity can have in its unit or, without one, in any."""
    if number.quantity is None or number.value is None:
        return number
    quantity, value = number.quantity, number.value
    units = (number.unit,) if number.unit else UNITS[quantity]
    if any(possible(quantity, value, unit) for unit in units):
        return number
    return replace(number, doubt="; ".join(filter(None, (number.doubt, f"hardly possible as {quantity}"))))
