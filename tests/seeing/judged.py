"""What was read off a photo in, held against the screen: right, not sure, missing or wrong, number by number."""

from __future__ import annotations

import io
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from PIL import Image

from journal.seeing import Labelled
from journal.shown import shown
from tests.seeing.camera import Conditions, Photo, by_chance, photographed
from tests.seeing.screens import REPORTED, REPORTED_LOOKS, TUNED, TUNED_LOOKS, Reading, Screen, readings

NEAR = 0.6
"""A number is the one on the screen where their middles are no further apart, as a part of its width or height."""


@dataclass(frozen=True)
class Judged:
    """One number of a screen, or one that is none."""

    layout: str
    verdict: str
    """`right`: taken, and value, unit and quantity are so. `wrong`: taken for a quantity, and value, unit or quantity
    is not so. `not sure`: read, and said to be in doubt. `missing`: not read, or of no quantity where it has one, so
    that nothing could come of it."""
    reading: Reading | None
    """None for a number with a quantity where the screen has no number."""
    seen: Labelled | None


def judged(layout: str, screen: Screen, photo: Photo, seen: Sequence[Labelled]) -> Iterator[Judged]:
    """Every number of the screen, then what was taken beyond them."""
    left = list(seen)
    for reading, at in screen.readings:
        place = photo.place(at)
        found = min(left, key=lambda n: math.dist(place, middle(n)), default=None)
        if found is None or math.dist(place, middle(found)) > NEAR * size(found):
            yield Judged(layout, "missing", reading, None)
            continue
        left.remove(found)
        verdict = "not sure" if not found.sure else "right" if agrees(reading, found) else "wrong"
        if verdict == "wrong" and found.quantity is None:
            verdict = "missing"
        yield Judged(layout, verdict, reading, found)
    for number in left:
        if number.sure and number.quantity is not None:
            yield Judged(layout, "wrong", None, number)


def agrees(reading: Reading, seen: Labelled) -> bool:
    """Whether a number was read for what it is."""
    quantity = seen.quantity is reading.quantity
    unit = seen.unit == reading.unit or not seen.unit
    return seen.value == reading.value and quantity and (unit or reading.quantity is None)


def size(number: Labelled) -> float:
    """The longer of a number's width and height, pixels of the photo."""
    first, second, third, _ = number.corners
    return max(math.dist(first, second), math.dist(second, third))


def middle(number: Labelled) -> tuple[float, float]:
    """Where a number stands on the photo."""
    return sum(x for x, _ in number.corners) / 4, sum(y for _, y in number.corners) / 4


def drawn(layouts: str, count: int, seed: int) -> Iterator[tuple[str, Screen, random.Random]]:
    """So many screens of the `tuned` or the `reported` layouts, in turn, each with chance to go on with."""
    table, looks = (TUNED, TUNED_LOOKS) if layouts == "tuned" else (REPORTED, REPORTED_LOOKS)
    names = list(table)
    for i in range(count):
        chance = random.Random(f"{layouts} {seed} {i}")
        layout, most = table[names[i % len(names)]]
        shown = readings(chance, most, chance.choice((".", ",")))
        yield names[i % len(names)], layout(shown, looks[i // len(names) % len(looks)]), chance


def judged_screens(
    layouts: str, count: int, seed: int, how: Conditions | None = None
) -> Iterator[tuple[Photo, list[Judged]]]:
    """Screens photographed and read: under any conditions by chance, or under these."""
    for name, screen, chance in drawn(layouts, count, seed):
        photo = photographed(screen.image, how or by_chance(chance), chance)
        seen = shown(Image.open(io.BytesIO(photo.jpeg)))
        yield photo, list(judged(name, screen, photo, seen))
