"""A number in figures turned into every way its figures are said, as sequences of words."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

_UNITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
NUMBER_WORDS = frozenset((*_UNITS, *_TEENS, *_TENS, "oh", "double", "triple", "a"))
"""Words that can begin a number."""

MOST = 4
"""Most figures in a number that are written without a gap."""

Words = tuple[str, ...]


@lru_cache(maxsize=12_000)
def sayings(figures: str) -> tuple[Words, ...]:
    """Every way figures are said, one number or several said one after the other.

    Args:
        figures: 1 to `MOST` decimal figures, leading zeros counting.
    """
    found: dict[Words, None] = {}
    for end in range(1, len(figures) + 1):
        for first in _said(figures[:end]):
            for rest in sayings(figures[end:]) if end < len(figures) else ((),):
                found[first + rest] = None
    return tuple(found)


def _said(figures: str) -> Iterator[Words]:
    """The ways these figures are said as one."""
    if len(figures) == 1:
        yield (_UNITS[int(figures)],)
        if figures == "0":
            yield ("oh",)
        return
    if len(set(figures)) == 1 and len(figures) < 4:
        for unit in ("zero", "oh") if figures[0] == "0" else (_UNITS[int(figures[0])],):
            yield ("double" if len(figures) == 2 else "triple", unit)
    if figures[0] == "0":
        return
    if len(figures) == 2:
        yield _pair(int(figures))
    elif len(figures) == 3:
        yield from _hundreds((_UNITS[int(figures[0])],), int(figures[1:]))
        if figures[0] == "1":
            yield from _hundreds(("a",), int(figures[1:]))
    else:
        if figures[1] != "0":
            yield from _hundreds(_pair(int(figures[:2])), int(figures[2:]))
        for head in (_UNITS[int(figures[0])], "a") if figures[0] == "1" else (_UNITS[int(figures[0])],):
            thousands = (head, "thousand")
            if figures[1] == "0":
                yield from _rest(thousands, int(figures[2:]))
            else:
                for tail in _hundreds((_UNITS[int(figures[1])],), int(figures[2:])):
                    yield thousands + tail


def _pair(number: int) -> Words:
    if number < 20:
        return (_UNITS[number] if number < 10 else _TEENS[number - 10],)
    tens, unit = divmod(number, 10)
    return (_TENS[tens - 2], _UNITS[unit]) if unit else (_TENS[tens - 2],)


def _hundreds(head: Words, rest: int) -> Iterator[Words]:
    yield from _rest((*head, "hundred"), rest)


def _rest(head: Words, rest: int) -> Iterator[Words]:
    if not rest:
        yield head
        return
    yield head + _pair(rest)
    yield (*head, "and", *_pair(rest))
