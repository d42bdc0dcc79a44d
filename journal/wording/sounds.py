"""A heard word in, the words of the grammar it sounds like out."""

from __future__ import annotations

from functools import cache, lru_cache

import jellyfish
from rapidfuzz import fuzz, process

from journal.wording.network import network
from journal.wording.numbers import cardinal
from journal.wording.tokens import tokenise

LEAST_ALIKE = 70.0
"""Likeness, 0 to 100, below which two words are not taken for each other."""

_MOST = 6


@cache
def known_words() -> frozenset[str]:
    """Every literal word of the grammar."""
    return network().vocabulary_words()


@lru_cache(maxsize=20_000)
def sound_key(word: str) -> str:
    """The word's consonants as they sound (Lawrence Philips' Metaphone)."""
    return jellyfish.metaphone(word.replace("'", ""))


def likeness(one: str, other: str) -> float:
    """How alike two texts sound, 0 to 1: their consonants, numbers as they are said."""
    return fuzz.ratio(_sounded(one), _sounded(other)) / 100


@lru_cache(maxsize=2_000)
def _sounded(text: str) -> str:
    words: list[str] = []
    for token in tokenise(text):
        written = token.text.isascii() and token.text.replace(".", "").isdigit()
        words += cardinal(float(token.text)) if written and float(token.text) < 10_000 else (token.text,)
    return "".join(sound_key(word) for word in words)


@cache
def _by_key() -> dict[str, tuple[str, ...]]:
    table: dict[str, list[str]] = {}
    for word in sorted(known_words()):
        if len(word) > 2:
            table.setdefault(sound_key(word), []).append(word)
    return {key: tuple(words) for key, words in table.items()}


@cache
def _long_words() -> tuple[str, ...]:
    return tuple(sorted(word for word in known_words() if len(word) > 2))


@lru_cache(maxsize=20_000)
def alike(heard: str) -> tuple[tuple[str, float], ...]:
    """Words of the grammar that sound like what was heard, with a cost each: 0.3 the same sound, up to 1.5.

    Args:
        heard: one token, or two or three written as one.
    """
    found: dict[str, float] = {}
    if len(heard) > 2 and not heard[0].isdigit():
        key = sound_key(heard)
        if len(key) > 1:
            for word in _by_key().get(key, ()):
                found[word] = min(found.get(word, 9.0), 0.4 + (100 - fuzz.ratio(heard, word)) / 150)
        hits = process.extract(heard, _long_words(), scorer=fuzz.ratio, score_cutoff=LEAST_ALIKE, limit=_MOST)
        for word, likeness, _ in hits:
            found[word] = min(found.get(word, 9.0), 0.2 + (100 - likeness) / 25)
    found.pop(heard, None)
    return tuple(sorted(found.items(), key=lambda item: item[1])[:_MOST])
