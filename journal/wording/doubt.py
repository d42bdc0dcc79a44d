"""A number in, the numbers that it may be taken for out, each with how often."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from journal.wording.figures import settings
from journal.wording.numbers import cardinal, readings
from journal.wording.parse import Filled, Said
from journal.wording.tokens import Token
from journal.wording.vocabulary import CYLINDER_SLOTS, NUMBER_SLOTS, vocabulary


def sound_alikes(said: Said, tokens: Sequence[Token]) -> Iterator[tuple[Said, float]]:
    """The same phrase with one number that sounds like the one heard, and how often that happens."""
    for index, slot in enumerate(said.filled):
        if slot.name not in NUMBER_SLOTS | CYLINDER_SLOTS:
            continue
        words = tuple(t.text for t in tokens[slot.start : slot.end])
        for value, often in alike_numbers(float(slot.value), words):
            if slot.name in CYLINDER_SLOTS and (value % 1 or not 1 <= value <= 20):
                continue
            number = int(value) if slot.name in CYLINDER_SLOTS else value
            changed = Filled(slot.name, number, slot.start, slot.end)
            yield replace(said, filled=(*said.filled[:index], changed, *said.filled[index + 1 :])), often


@lru_cache(maxsize=10_000)
def alike_numbers(value: float, words: tuple[str, ...] = ()) -> tuple[tuple[float, float], ...]:
    """Numbers that sound like this one, most often first, each with how often it is heard for it.

    Args:
        value: the number heard.
        words: the words it was heard in; figures and none stand for the usual words.
    """
    if not words or any(not w.isalpha() for w in words):
        words = cardinal(value) if 0 <= value < 10_000 else ()
    found: dict[float, float] = {}
    for at, word in enumerate(words):
        for other, often in vocabulary().confusions.get(word, ()):
            changed = (*words[:at], other, *words[at + 1 :])
            for reading in readings(changed, 0):
                usual = reading.cost < settings()["text"]["usual"]
                if usual and reading.end == len(changed) and reading.value != value:
                    found[reading.value] = max(often, found.get(reading.value, 0.0))
    return tuple(sorted(found.items(), key=lambda item: -item[1]))
