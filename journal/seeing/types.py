"""What is seen on a photo: texts with their places, and numbers with what belongs to them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from journal.facts import Quantity

Point = tuple[float, float]
"""Right and down from the picture's top left corner, pixels."""

Corners = tuple[Point, Point, Point, Point]
"""Clockwise, the first where the text begins at its top."""

Meant = Callable[[str, str], tuple[Quantity | None, float]]
"""A label and a unit (empty where none is known) in; the quantity meant and how alike the words are, 0 to 1, out."""


@dataclass(frozen=True)
class SeenText:
    """One stretch of text."""

    text: str
    """As it was read."""
    corners: Corners
    """Where it stands."""
    certainty: float
    """How sure the least certain of its characters is, 0 to 1."""

    @property
    def centre(self) -> Point:
        """The middle of its corners."""
        return sum(x for x, _ in self.corners) / 4, sum(y for _, y in self.corners) / 4

    @property
    def width(self) -> float:
        """Its length along the line of writing, pixels."""
        first, second, third, fourth = self.corners
        return (math.dist(first, second) + math.dist(fourth, third)) / 2

    @property
    def height(self) -> float:
        """The height of its line, pixels."""
        first, second, third, fourth = self.corners
        return (math.dist(first, fourth) + math.dist(second, third)) / 2

    @property
    def slope(self) -> float:
        """By how much its line of writing is turned, clockwise, radians."""
        first, second, third, fourth = self.corners
        along = (second[0] + third[0] - first[0] - fourth[0], second[1] + third[1] - first[1] - fourth[1])
        return math.atan2(along[1], along[0])


@dataclass(frozen=True)
class Labelled:
    """A number on a screen with what belongs to it."""

    written: str
    """The number as it was read, without its unit."""
    value: float | None
    """What it comes to; none where that cannot be told, as of 1,250 on a screen that shows no other decimal sign."""
    label: str
    """The words that belong to it; empty where none do."""
    unit: str
    """Its unit as the journal writes it; empty where none is shown or it is not known."""
    quantity: Quantity | None
    """What it measures, by the vocabulary; none where that has nothing that is near enough."""
    certainty: float
    """How sure the least certain of the number's own characters is, 0 to 1."""
    doubt: str
    """Why it is not sure, in a few words, but for a unit that is missing; empty where it is."""
    corners: Corners
    """Where the number stands on the picture."""
    other_unit: str = ""
    """What stands in its unit's place and is none that the journal knows, as it was read: misread, or another's."""
    unit_missing: bool = False
    """Whether its unit was not made out: none that is known stands with it, though most of the screen's numbers have
    one, or something else stands in its place."""

    loose_units: tuple[str, ...] = ()
    """Of a number without a unit, what stands on the picture as a unit, misread or not, and is no other number's."""

    @property
    def sure(self) -> bool:
        """Whether nothing speaks against taking it as it is."""
        return not self.doubt and not self.unit_missing

    @property
    def doubts(self) -> str:
        """All that speaks against taking it as it is, in a few words; empty where nothing does."""
        unit = f"its unit is not known: {self.other_unit}" if self.other_unit else "its unit is not seen"
        return "; ".join(filter(None, (self.doubt, unit if self.unit_missing else "")))
