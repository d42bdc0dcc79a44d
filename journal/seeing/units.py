"""A unit as a screen writes it in, the journal's name for it out."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import resources

from rapidfuzz import fuzz

A_LETTER_OFF = 66.0
"""Likeness, 0 to 100, of two words of three letters of which one differs."""
NEARLY = 80.0
"""Likeness, 0 to 100, from which what a label ends with in brackets is a unit, misread."""
NO_LIKER = 5.0
"""A text is like two units where its likenesses differ by less than that, 0 to 100."""
_LEVEL = str.maketrans({"³": "3", "²": "2", "₂": "2", "⁻": "-", "¹": "1", "−": "-", "℃": "c", "℉": "f"})
_LEFT_OUT = re.compile(r"[\s.()\[\]°º˚]")
"""Gaps, points, brackets, and degree signs, which a reader makes little of."""
_OTHERS = frozenset(
    {
        "v",
        "mv",
        "a",
        "ma",
        "s",
        "ms",
        "h",
        "hrs",
        "km/h",
        "mph",
        "km",
        "hz",
        "°",
        "deg",
        "°ca",
        "l",
        "g",
        "kg",
        "g/s",
        "ppm",
    }
)
"""Units of what the journal has no quantity for; with one of these a number is none of its own."""


def unit_of(text: str) -> str:
    """The unit as the journal writes it; empty where it has none that is written so."""
    return _units().get(written(text), "")


def unit_written(text: str) -> bool:
    """Whether a text is a unit, the journal's or another."""
    plain = written(text)
    return plain in _units() or plain in _OTHERS


def unit_like(text: str) -> bool:
    """Whether a text is a unit, or looks like one that was misread: in brackets, after a stroke, or a letter off."""
    plain = written(text)
    bracketed = text[:1] in ("(", "[") and text[-1:] in (")", "]")
    off = any(len(way) == len(plain) and fuzz.ratio(way, plain) >= A_LETTER_OFF for way in _units() if len(way) >= 3)
    return unit_written(text) or bracketed or plain.startswith("/") or off


def unit_nearly(text: str) -> bool:
    """Whether a text is a unit, or one of four signs or more of which hardly one was misread."""
    plain = written(text)
    return unit_written(text) or (len(plain) >= 4 and any(fuzz.ratio(way, plain) >= NEARLY for way in _units()))


def likest_unit(text: str) -> str:
    """The journal's unit that a misread one is most like; empty where it is as like another, or like none."""
    plain = written(text)
    like = {way: fuzz.ratio(way, plain) for way in (*_units(), *_OTHERS)}
    best = max(like.values())
    found = {_units().get(way, way) for way, ratio in like.items() if ratio > best - NO_LIKER}
    return found.pop() if best >= A_LETTER_OFF and len(found) == 1 and found <= set(_units().values()) else ""


def written(text: str) -> str:
    """A unit's letters as they stand in the table: "mm³/st." is mm3/st."""
    return _LEFT_OUT.sub("", text.translate(_LEVEL).casefold())


@cache
def _units() -> dict[str, str]:
    table = tomllib.loads(resources.files("journal.seeing").joinpath("units.toml").read_text("utf-8"))
    return {way: unit for unit, ways in table.items() for way in ways}
