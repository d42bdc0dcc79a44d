"""A label on a screen and its unit in, the quantity they mean out, by the same vocabulary as what is said."""

from __future__ import annotations

import re
import tomllib
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from rapidfuzz import fuzz

from journal.facts import UNITS, Quantity
from journal.wording.lexicon import named_quantities

ALIKE = 0.84
"""Likeness, 0 to 1, below which a label names no quantity."""
APART = 0.06
"""A label whose second quantity is that near to its first names neither."""
_WORD_ALIKE = 80.0
_RUN_TOGETHER = 90.0
_WORD = re.compile(r"[^\W\d_]+|[0-9]+")


@lru_cache(maxsize=4096)
def quantity_of_label(label: str, unit: str = "") -> tuple[Quantity | None, float]:
    """What a label stands for.

    Args:
        label: as it stands on a screen, misread letters and all.
        unit: as the journal writes it; empty where none is shown.

    Returns:
        The quantity, none where the vocabulary has none that is near enough or two that are as near, and how alike the
        words are, 0 to 1.
    """
    words = _in_full(label)
    if not words or _differs(words):
        return None, 0.0
    best: dict[Quantity, float] = {}
    for quantity, names in _names().items():
        if not unit or unit in UNITS[quantity]:
            best[quantity] = max(_alike(words, name) for name in names)
    ranked = sorted(best.items(), key=lambda pair: -pair[1])
    if not ranked or ranked[0][1] < ALIKE:
        return None, ranked[0][1] if ranked else 0.0
    if len(ranked) > 1 and ranked[0][1] - ranked[1][1] < APART:
        return None, ranked[0][1]
    return ranked[0]


def _in_full(label: str) -> tuple[str, ...]:
    """The words of a label, those cut short written out, those without meaning left out where others are left."""
    short, nothing = _table()["short"], frozenset(_table()["nothing"]["yes"])
    words = [full for word in _WORD.findall(label.casefold()) for full in short.get(word, word).split()]
    return tuple(word for word in words if word not in nothing) or tuple(words)


def _differs(words: tuple[str, ...]) -> bool:
    said = f" {' '.join(words)} "
    return any(f" {other} " in said for other in _table()["another"]["yes"])


def _alike(words: tuple[str, ...], name: tuple[str, ...]) -> float:
    """How alike they are: the share of their letters in words that both have, or whole where only gaps differ."""
    together = fuzz.ratio("".join(words), "".join(name), score_cutoff=_RUN_TOGETHER) / 100.0
    left, shared, letters = list(name), 0.0, sum(map(len, words)) + sum(map(len, name))
    for word in words:
        scored = [(fuzz.ratio(word, other), other) for other in left]
        score, other = max(scored, default=(0.0, ""))
        if score >= _WORD_ALIKE:
            shared += (len(word) + len(other)) * score / 100.0
            left.remove(other)
    return max(together, shared / letters)


@cache
def _names() -> dict[Quantity, tuple[tuple[str, ...], ...]]:
    """What each quantity is called on a screen."""
    unnamed = frozenset(_in_full(way) for way in _table()["unnamed"]["yes"])
    names: dict[Quantity, set[tuple[str, ...]]] = {}
    for quantity, ways in (*named_quantities().items(), *_table()["more"].items()):
        names.setdefault(Quantity(quantity), set()).update({_in_full(way) for way in ways} - unnamed)
    return {quantity: tuple(sorted(ways)) for quantity, ways in names.items()}


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(resources.files("journal.wording").joinpath("labels.toml").read_text("utf-8"))
