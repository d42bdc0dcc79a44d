"""A word off a screen in, the number it begins with and what is glued to it out; and what commas and points mean."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from journal.seeing.units import unit_written

_NUMBER = re.compile(r"[+\-−–]?(?:[0-9]+(?:[.,'’ ][0-9]+)*|[.,][0-9]+)")
_COUNTED = frozenset(
    {"cylinder", "cyl", "cyl.", "bank", "sensor", "injector", "inj", "inj.", "page", "no", "no.", "nr.", "#", "unit",
     "engine", "pid", "id", "test", "step", "run", "group", "channel", "ch", "version", "v"}
)  # fmt: skip
"""Words whose number says which one, not how much."""
_WHICH = 2
"""Digits of a number that may say which one."""


@dataclass(frozen=True)
class Figure:
    """A number as it is written."""

    written: str
    """Sign, digits and the signs between them."""
    rest: str
    """What follows it without a gap; a unit, or nothing."""

    def value(self, decimal: str) -> float | None:
        """What it comes to on a screen whose decimal sign is `decimal`: ".", "," or empty where nothing tells.

        Returns:
            The number; none where it could be either of two, or is no number.
        """
        sign = -1.0 if self.written[0] in "-−–" else 1.0
        plain = re.sub("['’ ]", "", self.written.lstrip("+-−–"))
        point = _decimal_in(self.written) or decimal
        if point:
            plain = plain.replace("," if point == "." else ".", "").replace(point, ".")
        elif "." in plain or "," in plain:
            return None
        try:
            return sign * float(plain)
        except ValueError:
            return None


def figure_in(text: str) -> Figure | None:
    """The number that a word is; none where it is none, as with a time, a date or a part number."""
    found = _NUMBER.match(text)
    if found is None:
        return None
    rest = text[found.end() :]
    if rest and not unit_written(rest):
        return None
    if not _well_made(found.group()):
        return None
    return Figure(found.group(), rest)


def is_counted(before: str) -> bool:
    """Whether a number after this word says which one is meant: "cylinder 4"."""
    return before.casefold() in _COUNTED


def decimal_sign(figures: Iterable[Figure]) -> str:
    """The decimal sign of a screen: the one of its numbers that can be read in one way only; empty where none tells."""
    signs = {sign for figure in figures if (sign := _decimal_in(figure.written))}
    return signs.pop() if len(signs) == 1 else ""


def _well_made(number: str) -> bool:
    """Whether signs stand where numbers have them: 12.05.26 and 1,25,3 are none."""
    plain = number.lstrip("+-−–")
    marks = [mark for mark in plain if mark in ".,'’ "]
    if len(marks) <= 1:
        return True
    groups = re.split("[.,'’ ]", plain)
    return len(set(marks[:-1])) == 1 and len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:-1])


def _decimal_in(number: str) -> str:
    """The decimal sign of a number that can be read in one way only; empty where it has none, or may have."""
    plain = number.lstrip("+-−–")
    marks = [mark for mark in plain if mark in ".,"]
    if not marks:
        return ""
    if len(marks) > 1:
        # 1.250,5: the last of two kinds; 1.250.000 has no decimals, and its sign is the other one.
        return marks[-1] if marks[-1] not in marks[:-1] else {".": ",", ",": "."}[marks[-1]]
    whole, decimals = re.split("[.,]", plain)
    grouped = len(decimals) == 3 and re.fullmatch("[1-9][0-9]{0,2}", whole) is not None
    return "" if grouped else marks[0]
