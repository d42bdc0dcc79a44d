"""A picture in, the texts on it out, by RapidOCR, whose models come in its package; loaded at the first picture."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from journal.errors import BadInput
from journal.seeing.figures import figure_in, is_counted
from journal.seeing.types import Point, SeenText
from journal.seeing.units import unit_written

FIND_EDGE = 1024
"""What the longest edge is brought down to where text is looked for, pixels; it is read at the picture's own size."""
LEAST_CERTAIN = 0.5
"""Text that is less certain than that, on average, is not told at all."""
_STANDING = 1.5
"""A text so many times as high as it is wide stands on its side."""
_UPSIDE_DOWN = 0.85
"""Mean certainty below which a picture is tried upside down as well."""

Pixels = npt.NDArray[np.uint8]
"""Shape (height, width, 3): blue, green, red, as OpenCV has them."""


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
    pixels = np.ascontiguousarray(np.asarray(image.convert("RGB"))[:, :, ::-1])
    lines = _lines(pixels)
    turns = 0
    if lines and sum(_stands(line) for line in lines) > len(lines) / 2:
        turns, lines = _best(pixels, (1, 3))
    elif lines and _mean(lines) < _UPSIDE_DOWN:
        turns, lines = max(((0, lines), _best(pixels, (2,))), key=lambda tried: _mean(tried[1]) * len(tried[1]))
    size = image.size
    found = [piece for line in lines for piece in _pieces(line)]
    return tuple(SeenText(text, _back(corners, turns, size), certainty) for text, corners, certainty in found if text)


_Line = list[tuple[str, float, list[Point]]]
"""A line's characters, each with its certainty and its corners."""


@cache
def _reader() -> Any:
    if not can_see():
        raise BadInput("photos cannot be read here: install the photo extra, `pip install '.[photo]'`")
    from rapidocr import RapidOCR

    return RapidOCR(
        params={
            "Global.log_level": "critical",
            "Global.use_cls": False,
            "Global.text_score": LEAST_CERTAIN,
            "Global.return_word_box": True,
            "Global.return_single_char_box": True,
            "Det.limit_type": "max",
            "Det.limit_side_len": FIND_EDGE,
        }
    )


def _lines(pixels: Pixels) -> list[_Line]:
    """The lines of text on a picture as it stands."""
    read = _reader()(pixels)
    if read.txts is None:
        return []
    lines: list[_Line] = []
    for text, whole, characters in zip(read.txts, read.boxes, read.word_results, strict=True):
        line = _with_gaps(
            text, [(c, float(sure), [(float(x), float(y)) for x, y in box]) for c, sure, box in characters]
        )
        lines.append(line or _spread(text, [(float(x), float(y)) for x, y in whole]))
    return lines


def _with_gaps(text: str, characters: _Line) -> _Line:
    """The characters with the gaps between words, which the reader gives no box; none where they do not fit."""
    left = iter(characters)
    line: _Line = []
    for character in text:
        if character.isspace():
            line.append((" ", 1.0, line[-1][2] if line else []))
            continue
        told = next(left, None)
        if told is None or told[0] != character:
            return []
        line.append(told)
    return line


def _spread(text: str, whole: list[Point]) -> _Line:
    """Characters without boxes of their own, spread evenly over the line's; nothing is known of how sure they are."""

    def at(edge: tuple[Point, Point], share: float) -> Point:
        (x, y), (to_x, to_y) = edge
        return x + (to_x - x) * share, y + (to_y - y) * share

    top, bottom = (whole[0], whole[1]), (whole[3], whole[2])
    steps = [i / len(text) for i in range(len(text) + 1)]
    return [
        (c, LEAST_CERTAIN, [at(top, a), at(top, b), at(bottom, b), at(bottom, a)])
        for c, a, b in zip(text, steps, steps[1:], strict=False)
    ]


def _stands(line: _Line) -> bool:
    """Whether a line's characters follow each other down or up the picture."""
    first, last = _middle(line[0][2]), _middle(line[-1][2])
    return abs(last[1] - first[1]) > _STANDING * abs(last[0] - first[0])


def _middle(corners: Sequence[Point]) -> Point:
    return sum(x for x, _ in corners) / len(corners), sum(y for _, y in corners) / len(corners)


def _mean(lines: Iterable[_Line]) -> float:
    """Mean certainty of all characters, 0 to 1."""
    sure = [certainty for line in lines for _, certainty, _ in line]
    return sum(sure) / len(sure) if sure else 0.0


def _best(pixels: Pixels, turns: Iterable[int]) -> tuple[int, list[_Line]]:
    """The quarter turns, anticlockwise, after which most can be read, and what is read then."""
    tried = [(n, _lines(np.ascontiguousarray(np.rot90(pixels, n)))) for n in turns]
    return max(tried, key=lambda pair: _mean(pair[1]) * len(pair[1]))


def _back(corners: Sequence[Point], turns: int, size: tuple[int, int]) -> tuple[Point, Point, Point, Point]:
    """Corners on the turned picture where they are on the one as given, of that width and height."""
    width, height = size
    first, second, third, fourth = (
        {0: (x, y), 1: (width - y, x), 2: (width - x, height - y), 3: (y, height - x)}[turns] for x, y in corners
    )
    return first, second, third, fourth


def _pieces(line: _Line) -> list[tuple[str, list[Point], float]]:
    """A line's words, those that are neither number nor unit joined: "Fuel rate", "4.7", "L/h"."""
    words = _words(line)
    joined: list[list[_Line]] = []
    before: _Line = []
    for word in words:
        text = _text(word)
        apart = unit_written(text) or (figure_in(text) is not None and not is_counted(_text(before)))
        if joined and not apart and before is joined[-1][-1]:
            joined[-1].append(word)
        else:
            joined.append([word])
        before = [] if apart else word
    return [_piece(group) for group in joined]


def _words(line: _Line) -> list[_Line]:
    """A line's words; a sign or a figure that stands apart from its number by a gap is one with it."""
    words: list[_Line] = [[]]
    for character in line:
        if character[0] != " ":
            words[-1].append(character)
        elif words[-1]:
            words.append([])
    return [word for word in words if word]


def _text(word: _Line) -> str:
    return "".join(character for character, _, _ in word)


def _piece(group: list[_Line]) -> tuple[str, list[Point], float]:
    first, last = group[0][0][2], group[-1][-1][2]
    corners = [first[0], last[1], last[2], first[3]]
    certainty = min(sure for word in group for _, sure, _ in word)
    return (
        " ".join(_text(word) for word in group).strip(" :;="),
        corners,
        certainty if math.isfinite(certainty) else 0.0,
    )
