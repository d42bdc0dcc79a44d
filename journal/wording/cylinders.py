"""Words in, the cylinder or cylinders that they name out, with how unusual that way of saying them is."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from journal.wording.numbers import atoms

MOST_CYLINDERS = 20
BEYOND_ENGINE = 1.0
"""Cost of a cylinder that this engine does not have."""

_ORDINAL_WORDS = (
    "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth",
    "thirteenth fourteenth fifteenth sixteenth seventeenth eighteenth nineteenth twentieth",
)
ORDINALS = {word: number for number, word in enumerate(" ".join(_ORDINAL_WORDS).split(), 1)}
"""What a cylinder is called by its place."""
_RUN_TOGETHER = 0.3
_NAMED_TWICE = 0.2
_TWO_FIGURES = 0.5
_JOINTS = ("to", "through", "thru", "too")


def cylinder_at(words: Sequence[str], at: int, cylinders: int) -> Iterator[tuple[int, int, float]]:
    """One cylinder from word `at` on: index after, number, cost."""
    if at >= len(words):
        return
    for atom in atoms(words[at]):
        if 1 <= atom.value <= MOST_CYLINDERS and atom.value == int(atom.value):
            yield at + 1, int(atom.value), atom.cost + _beyond(atom.value, cylinders)
    both = [next((a for a in atoms(w) if a.size == "digit"), None) for w in words[at : at + 2]]
    if len(both) == 2 and both[0] and both[1] and both[0].value in (1, 2):
        number = both[0].value * 10 + both[1].value
        if number <= cylinders:
            yield at + 2, int(number), both[0].cost + both[1].cost + _TWO_FIGURES


def several_at(
    words: Sequence[str], at: int, cylinders: int, so_far: tuple[int, ...] = (), cost: float = 0.0
) -> Iterator[tuple[int, tuple[int, ...], float]]:
    """Cylinders from word `at` on, one or more: index after, numbers in the order said, cost."""
    if at < len(words) and so_far and words[at] == "and":
        at += 1
    if at >= len(words) or words[at] in _JOINTS or len(so_far) >= MOST_CYLINDERS:
        return
    together = tuple(int(figure) for figure in words[at] if figure != ",") if re.fullmatch("[0-9,]+", words[at]) else ()
    if len(together) > 1 and len({*so_far, *together, 0}) == len(so_far) + len(together) + 1:
        # Listeners write "four five six" as 456.
        yield at + 1, (*so_far, *together), max(cost, _beyond(max(together), cylinders)) + _RUN_TOGETHER
    for end, cylinder, extra in cylinder_at(words, at, cylinders):
        if cylinder in so_far:
            # Without this a thousand ones would be a thousand calls.
            continue
        found = (*so_far, cylinder)
        if end < len(words) and words[end] in _JOINTS:
            for last_end, last, more in cylinder_at(words, end + 1, cylinders):
                if last > cylinder:
                    yield last_end, (*so_far, *range(cylinder, last + 1)), max(cost, extra) + more
            continue
        # A list beyond the engine is as far-fetched as one cylinder beyond it.
        yield end, found, max(cost, extra)
        yield from several_at(words, end, cylinders, found, max(cost, extra))
        if (past := _past_named(words, end, found)) > end:
            yield past, found, max(cost, extra) + _NAMED_TWICE
            yield from several_at(words, past, cylinders, found, max(cost, extra) + _NAMED_TWICE)


def _past_named(words: Sequence[str], at: int, named: tuple[int, ...]) -> int:
    """The index after words that only name again what is named already: "two and one and one"."""
    end = at
    while at < len(words):
        at += words[at] == "and"
        if at >= len(words) or not any(atom.cost == 0 and atom.value in named for atom in atoms(words[at])):
            break
        at += 1
        end = at
    return end


def _beyond(cylinder: float, cylinders: int) -> float:
    return BEYOND_ENGINE if cylinder > cylinders else 0.0
