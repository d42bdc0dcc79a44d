"""A picture in, the texts on it out, by RapidOCR, whose models come in its package; loaded at the first picture."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from PIL import Image

from journal.errors import BadInput
from journal.seeing.figures import figure_in, is_counted
from journal.seeing.types import Corners, Point, SeenText
from journal.seeing.units import unit_written

NOT_READ = "photos cannot be read here: install the photo extra, `pip install '.[photo]'`"
"""What is told where it is not installed."""
GLANCE_EDGE = 640
"""What the longest edge of the picture is brought down to where the part with text is looked for, pixels."""
FIND_EDGE = 896
"""What the longest edge of that part is brought to where lines of text are looked for, pixels."""
LINE_HEIGHT = 48
"""Height at which the recogniser reads a line, pixels; lines are cut from the picture at its own size."""
LEAST_CERTAIN = 0.5
"""A line that is less certain than that, on average, is not told."""
LOOK_AGAIN = 0.95
"""A line with figures of which any character is less certain than that is looked at a second time."""
WIDER = 0.08
"""By how much of its height it is cut out wider then."""
OF_NUMBERS = frozenset("0123456789+-−–.,'’")
"""Characters that numbers are made of."""
ENDS_LABEL = ":："
"""Signs between a label and its number."""
_AROUND = 0.06
"""So much of its size is added around the part with text: what lies at its edge may not have been found."""
STANDING = 1.5
"""A line so many times as high as it is wide stands on its side."""
UPSIDE_DOWN = 0.85
"""Mean certainty below which a picture is tried upside down as well."""
LINES_TRIED = 8
"""Lines by which it is told which way round a picture is."""
LARGER = 3.0
"""A small picture is made no more than so many times larger."""


@dataclass(frozen=True)
class _Character:
    text: str
    certainty: float
    middle: float
    """Share of its line's length, 0 to 1."""


@dataclass(frozen=True)
class _Line:
    corners: Corners
    characters: tuple[_Character, ...]


def can_see() -> bool:
    """Whether the `photo` extra is installed; asked without loading any of it."""
    return all(importlib.util.find_spec(name) is not None for name in ("rapidocr", "onnxruntime"))


def seen_texts(image: Image.Image) -> tuple[SeenText, ...]:
    """The texts on a picture, labels apart from numbers, whichever way round it was taken.

    Args:
        image: upright by its Exif, mode RGB or L.

    Returns:
        The texts, with places on the picture as given; none where nothing is written on it.

    Raises:
        BadInput: when the `photo` extra is not installed.
    """
    part, begins = _with_text(image.convert("RGB"))
    if part is None:
        return ()
    places = _places(part, FIND_EDGE)
    turn, lines = 0, []
    if sum(_stands(place) for place in places) <= sum(_lies(place) for place in places):
        lines = _lines(part, places)
        turn = _likeliest(part, places, (0, 2)) if lines and _mean(lines) < UPSIDE_DOWN else 0
    else:
        turn = _likeliest(part, places, (1, 3))
    if turn:
        lines = _lines(part, [_turned(place, turn) for place in places])
    found = [piece for line in lines for piece in _pieces(line)]
    return tuple(
        SeenText(text, _corners([(x + begins[0], y + begins[1]) for x, y in corners]), certainty)
        for text, corners, certainty in found
        if text
    )


@cache
def _reader() -> Any:
    if not can_see():
        raise BadInput(NOT_READ)
    from rapidocr import RapidOCR

    # Pictures come at the size that is wanted: it must not change it.
    return RapidOCR(
        params={
            "Global.log_level": "critical",
            "Global.text_score": LEAST_CERTAIN,
            "Global.max_side_len": 4096,
            "Det.limit_type": "max",
            "Det.limit_side_len": 4096,
        }
    )


def _with_text(image: Image.Image) -> tuple[Image.Image | None, Point]:
    """The part of a picture that holds all text, its brightness stretched, and where it begins; none where none is."""
    places = _places(_stretched(image), GLANCE_EDGE)
    if not places:
        return None, (0, 0)
    points = np.array([point for place in places for point in place])
    low, high = points.min(axis=0), points.max(axis=0)
    more = _AROUND * (high - low) + 0.02 * max(image.size)
    left, top = (int(v) for v in np.maximum(low - more, 0))
    right, bottom = (math.ceil(v) for v in np.minimum(high + more, image.size))
    return _stretched(image.crop((left, top, right, bottom))), (left, top)


def _stretched(image: Image.Image) -> Image.Image:
    """The picture with its darkest as black and its brightest as white, but for the outermost hundredths."""
    values = np.asarray(image.convert("L").reduce(4) if min(image.size) > 64 else image.convert("L"))
    low, high = np.quantile(values, (0.01, 0.995))
    scale = 255.0 / max(float(high - low), 16.0)
    return image.point([round(min(max((v - float(low)) * scale, 0), 255)) for v in range(256)] * 3)


def _places(image: Image.Image, edge: int) -> list[Corners]:
    """Where lines of text are."""
    scale = min(edge / max(image.size), LARGER)
    size = (max(32, round(image.width * scale)), max(32, round(image.height * scale)))
    small = image.resize(size, Image.Resampling.BICUBIC if scale > 1 else Image.Resampling.BOX)
    found = _reader()(np.ascontiguousarray(np.asarray(small)[:, :, ::-1]), use_det=True, use_cls=False, use_rec=False)
    boxes = getattr(found, "boxes", None)
    if boxes is None:
        return []
    across, down = image.width / size[0], image.height / size[1]
    return [_corners([(float(x) * across, float(y) * down) for x, y in box]) for box in boxes]


def _corners(points: Sequence[Point]) -> Corners:
    first, second, third, fourth = points
    return first, second, third, fourth


def _lines(image: Image.Image, places: Iterable[Corners]) -> list[_Line]:
    """The lines of text at these places, as they stand."""
    lines = [_Line(place, _characters(image, place)) for place in places]
    return [line for line in lines if line.characters]


def _characters(image: Image.Image, place: Corners) -> tuple[_Character, ...]:
    """The characters of a line; none where they are too uncertain.

    One with figures that are not certain is looked at a second time, cut out a little wider: figures that are read
    alike both times are surer for it, else all of the line's are less sure.
    """
    first = _read(image, place)
    if all(c.certainty >= LOOK_AGAIN for c in first if c.text in OF_NUMBERS):
        return first
    again = [c for c in _read(image, _wider(place)) if c.text in OF_NUMBERS]
    alike = [c.text for c in again] == [c.text for c in first if c.text in OF_NUMBERS]
    others = iter(again)
    return tuple(
        c
        if c.text not in OF_NUMBERS
        else replace(c, certainty=1 - (1 - c.certainty) * (1 - next(others).certainty) if alike else c.certainty / 2)
        for c in first
    )


def _wider(place: Corners) -> Corners:
    """A place with something of its height more around it."""
    seen = SeenText("", place, 0.0)
    (x, y), more = seen.centre, WIDER * seen.height
    across, down = 1 + 2 * more / max(seen.width, 1.0), 1 + 2 * WIDER
    along = (math.cos(seen.slope), math.sin(seen.slope))

    def moved(point: Point) -> Point:
        dx, dy = point[0] - x, point[1] - y
        u, v = dx * along[0] + dy * along[1], dy * along[0] - dx * along[1]
        u, v = u * across, v * down
        return x + u * along[0] - v * along[1], y + u * along[1] + v * along[0]

    return _corners([moved(point) for point in place])


def _read(image: Image.Image, place: Corners) -> tuple[_Character, ...]:
    seen = SeenText("", place, 0.0)
    size = (max(16, round(LINE_HEIGHT * seen.width / max(seen.height, 1.0))), LINE_HEIGHT)
    first, second, third, fourth = place
    cut = image.transform(size, Image.Transform.QUAD, (*first, *fourth, *third, *second), Image.Resampling.BICUBIC)
    read = _reader()(
        np.ascontiguousarray(np.asarray(cut)[:, :, ::-1]),
        use_det=False, use_cls=False, use_rec=True, return_word_box=True,
    )  # fmt: skip
    if not read.txts or not read.txts[0] or read.scores[0] < LEAST_CERTAIN:
        return ()
    text, told = read.txts[0], read.word_results[0]
    columns = iter([column for word in told.word_cols for column in word])
    # Gaps have a certainty and no column.
    return tuple(
        _Character(c, float(sure), 0.0 if c.isspace() else (next(columns) + 0.5) / told.line_txt_len)
        for c, sure in zip(text, told.confs, strict=True)
    )


def _stands(place: Corners) -> bool:
    seen = SeenText("", place, 0.0)
    return seen.height > STANDING * seen.width


def _lies(place: Corners) -> bool:
    seen = SeenText("", place, 0.0)
    return seen.width > STANDING * seen.height


def _turned(place: Corners, turn: int) -> Corners:
    """A place whose text begins so many corners further round: 1 runs down, 2 upside down, 3 up."""
    return _corners([*place[turn:], *place[:turn]])


def _mean(lines: Iterable[_Line]) -> float:
    """Mean certainty of all characters, 0 to 1."""
    sure = [c.certainty for line in lines for c in line.characters]
    return sum(sure) / len(sure) if sure else 0.0


def _likeliest(image: Image.Image, places: Sequence[Corners], turns: Sequence[int]) -> int:
    """The turn after which most of the longest lines' characters are certain."""
    longest = sorted(places, key=lambda place: -math.dist(place[0], place[2]))[:LINES_TRIED]

    def certain(turn: int) -> int:
        lines = _lines(image, [_turned(place, turn) for place in longest])
        return sum(c.certainty > UPSIDE_DOWN for line in lines for c in line.characters)

    return max(turns, key=certain)


def _pieces(line: _Line) -> list[tuple[str, Corners, float]]:
    """A line's words with their places; those that are neither number nor unit joined: "Fuel rate", "4.7", "L/h"."""
    joined: list[list[list[_Character]]] = []
    label, number = False, False
    for word in _words(line.characters):
        text = _text(word)
        before = _text(joined[-1][-1]) if joined else ""
        figure = figure_in(text) is not None and not (label and is_counted(before))
        # A unit stands after a number or by itself: in "Engine RPM" it is a word like others.
        apart = figure or (unit_written(text) and (number or not label))
        if label and not apart:
            joined[-1].append(word)
        else:
            joined.append([word])
        label, number = not apart, figure
    return [_piece(line, [c for word in group for c in word], " ".join(map(_text, group))) for group in joined]


def _words(characters: Sequence[_Character]) -> list[list[_Character]]:
    """Words by the gaps between them, and by colons, after which a gap is easily missed."""
    words: list[list[_Character]] = [[]]
    for character in characters:
        if not character.text.isspace():
            words[-1].append(character)
        if (character.text.isspace() or character.text in ENDS_LABEL) and words[-1]:
            words.append([])
    return [word for word in words if word]


def _text(word: Sequence[_Character]) -> str:
    return "".join(character.text for character in word)


def _piece(line: _Line, characters: Sequence[_Character], text: str) -> tuple[str, Corners, float]:
    """A stretch of a line, from the middle of its first character to that of its last and half a character more."""
    middles = [c.middle for c in line.characters if not c.text.isspace()]
    half = (middles[-1] - middles[0]) / (2 * max(len(line.characters) - 1, 1)) if len(middles) > 1 else 0.5
    begin, end = max(characters[0].middle - half, 0.0), min(characters[-1].middle + half, 1.0)
    whole = len(characters) == len(middles)
    first, second, third, fourth = line.corners
    corners = line.corners if whole else (
        _between(first, second, begin), _between(first, second, end),
        _between(fourth, third, end), _between(fourth, third, begin),
    )  # fmt: skip
    figure = figure_in(text)
    # A number is as sure as its own characters are, whatever its unit.
    own = characters if figure is None else characters[: len(figure.written)]
    return text.strip(" :：;="), corners, min(c.certainty for c in own)


def _between(one: Point, other: Point, share: float) -> Point:
    return one[0] + (other[0] - one[0]) * share, one[1] + (other[1] - one[1]) * share
