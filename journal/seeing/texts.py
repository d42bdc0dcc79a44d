"""A picture in, the texts on it out, by RapidOCR, whose models come in its package; loaded at the first picture."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from PIL import Image

from journal.errors import BadInput
from journal.seeing.figures import figure_in, is_counted
from journal.seeing.types import Corners, Point, SeenText
from journal.seeing.units import unit_written

GLANCE_EDGE = 640
"""What the longest edge of the picture is brought down to where the part with text is looked for, pixels."""
FIND_EDGE = 1024
"""What the longest edge of that part is brought to where lines of text are looked for, pixels."""
LINE_HEIGHT = 48
"""Height at which the recogniser reads a line, pixels; lines are cut from the picture at its own size."""
LEAST_CERTAIN = 0.5
"""A line that is less certain than that, on average, is not told."""
ENDS_LABEL = ":："
"""Signs between a label and its number."""
_AROUND = 0.06
"""So much of its size is added around the part with text: what lies at its edge may not have been found."""
_STANDING = 1.5
"""A line so many times as high as it is wide stands on its side."""
_UPSIDE_DOWN = 0.85
"""Mean certainty below which a picture is tried upside down as well."""


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
    part, left, top = _with_text(image.convert("RGB"))
    if part is None:
        return ()
    places = _places(part, FIND_EDGE)
    turns = 0
    if sum(_stands(place) for place in places) > len(places) / 2:
        turns, lines = _best(part, (1, 3))
    else:
        lines = _lines(part, places)
        if lines and _mean(lines) < _UPSIDE_DOWN:
            turns, lines = max(((0, lines), _best(part, (2,))), key=lambda tried: _readable(tried[1]))
    found = [piece for line in lines for piece in _pieces(line)]
    return tuple(
        SeenText(text, _back(corners, turns, part.size, (left, top)), certainty)
        for text, corners, certainty in found
        if text
    )


@cache
def _reader() -> Any:
    if not can_see():
        raise BadInput("photos cannot be read here: install the photo extra, `pip install '.[photo]'`")
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


def _with_text(image: Image.Image) -> tuple[Image.Image | None, int, int]:
    """The part of a picture that holds all text, its brightness stretched, and where it begins; none where none is."""
    places = _places(_stretched(image), GLANCE_EDGE)
    if not places:
        return None, 0, 0
    points = np.array([point for place in places for point in place])
    low, high = points.min(axis=0), points.max(axis=0)
    more = _AROUND * (high - low) + 0.02 * max(image.size)
    left, top = (int(v) for v in np.maximum(low - more, 0))
    right, bottom = (math.ceil(v) for v in np.minimum(high + more, image.size))
    return _stretched(image.crop((left, top, right, bottom))), left, top


def _stretched(image: Image.Image) -> Image.Image:
    """The picture with its darkest as black and its brightest as white, but for the outermost hundredths."""
    values = np.asarray(image.convert("L").reduce(4) if min(image.size) > 64 else image.convert("L"))
    low, high = np.quantile(values, (0.01, 0.995))
    scale = 255.0 / max(float(high - low), 16.0)
    return image.point([round(min(max((v - float(low)) * scale, 0), 255)) for v in range(256)] * 3)


def _places(image: Image.Image, edge: int) -> list[Corners]:
    """Where lines of text are."""
    scale = edge / max(image.size)
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
    """The characters of a line; none where they are too uncertain."""
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
    return seen.height > _STANDING * seen.width


def _mean(lines: Iterable[_Line]) -> float:
    """Mean certainty of all characters, 0 to 1."""
    sure = [c.certainty for line in lines for c in line.characters]
    return sum(sure) / len(sure) if sure else 0.0


def _readable(lines: Sequence[_Line]) -> float:
    return _mean(lines) * len(lines)


def _best(image: Image.Image, turns: Iterable[int]) -> tuple[int, list[_Line]]:
    """The quarter turns, anticlockwise, after which most can be read, and what is read then."""
    tried = []
    for n in turns:
        turned = image.rotate(90 * n, expand=True)
        tried.append((n, _lines(turned, _places(turned, FIND_EDGE))))
    return max(tried, key=lambda pair: _readable(pair[1]))


def _back(corners: Corners, turns: int, size: tuple[int, int], begins: tuple[int, int]) -> Corners:
    """Corners on the turned part where they are on the whole picture; the part's size is that before it was turned."""
    (width, height), (left, top) = size, begins
    placed = [{0: (x, y), 1: (width - y, x), 2: (width - x, height - y), 3: (y, height - x)}[turns] for x, y in corners]
    return _corners([(x + left, y + top) for x, y in placed])


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
    return text.strip(" :：;="), corners, min(c.certainty for c in characters)


def _between(one: Point, other: Point, share: float) -> Point:
    return one[0] + (other[0] - one[0]) * share, one[1] + (other[1] - one[1]) * share
