"""The packaged `parts.toml` in, the parts that words of an utterance may be out."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from rapidfuzz import fuzz, process

from journal.wording.numbers import atoms
from journal.wording.template import Choice, Template, Word, parse_template
from journal.wording.template import Sequence as Row
from journal.wording.tokens import Token

_ARTICLES = frozenset({"the", "a", "an"})
_COUNTED = frozenset({"hundred", "thousand"})
"""Words before which "a" is one."""
_PARTS = frozenset({"half", "quarter"})
"""The same after "and"."""
_ENDINGS = {"'s": "is", "'re": "are", "'ve": "have", "'m": "am", "'ll": "will", "'d": "would"}
_JOINED = {
    ("is", "not"): "isn't", ("are", "not"): "aren't", ("was", "not"): "wasn't", ("does", "not"): "doesn't",
    ("do", "not"): "don't", ("did", "not"): "didn't", ("will", "not"): "won't", ("has", "not"): "hasn't",
}  # fmt: skip
_OUTCOME = "outcome"
"""The table of what the qualities are for each subject."""
_NAMES = ("part_noun", "part_kind")
"""The tables of what a part's name is made of, which say nothing by themselves."""
_LEAST_ALIKE = 84.0
"""Likeness, 0 to 100, from which a word of no meaning is taken for a known one."""
_MISSPELT = 4
"""Letters from which a word may be misspelt and still known."""


@dataclass(frozen=True)
class Said:
    """A word as it counts: contractions apart, articles left out."""

    text: str
    """Lower case."""
    token: int
    """Index of the token it comes from."""
    pause: bool
    """Whether a comma, full stop or the like stands before it."""


@dataclass(frozen=True)
class Part:
    """What some words may be."""

    role: str
    """The table of `parts.toml`."""
    value: str
    """Its key there."""


def said_words(tokens: Sequence[Token]) -> list[Said]:
    """The words that count, with where they come from."""
    words: list[Said] = []
    pause = False
    for index, token in enumerate(tokens):
        pause = pause or token.pause
        pieces = _apart(token.text)
        if token.text in _ARTICLES:
            before = tokens[index - 1].text if index else ""
            after = tokens[index + 1].text if index + 1 < len(tokens) else ""
            if token.text != "a" or not (after in _COUNTED or (before == "and" and after in _PARTS)):
                continue
        for piece in pieces:
            joined = _JOINED.get((words[-1].text, piece)) if words and not pause else None
            if joined:
                words[-1] = Said(joined, words[-1].token, words[-1].pause)
            else:
                words.append(Said(piece, index, pause))
            pause = False
    return words


@lru_cache(maxsize=10_000)
def _apart(word: str) -> tuple[str, ...]:
    if word.endswith("n't"):
        return (word,)
    for ending, whole in _ENDINGS.items():
        if word.endswith(ending) and len(word) > len(ending):
            return (word[: -len(ending)], whole)
    return (word,)


def in_full(text: str) -> str:
    """A statement with "is" and "has" written out where "'s" stands for them: "fan belt's slipping" is no belt's own.

    "Five's injector" stays as it is: what follows is no word for a state.
    """
    return _SHORTENED.sub(_written_out, text)


_SHORTENED = re.compile(r"\b([^\W\d_]+)['’]s (\w+)(?= |$)", re.IGNORECASE)
_HAD = frozenset({"been", "got", "had", "gone", "come", "lost", "done"})
_STATES = frozenset({"engine_state", "quality", "damage", "done", "fixed", "no_change", "dead"})


def _written_out(found: re.Match[str]) -> str:
    word, after = found.group(1), found.group(2).lower()
    if after in _HAD:
        return f"{word} has {found.group(2)}"
    roles = {part.role for end, parts in lexicon().at((after,), 0) if end == 1 for part in parts}
    return f"{word} is {found.group(2)}" if roles & _STATES or after.endswith("ing") else found.group()


def _ways(part: Template) -> Iterator[tuple[str, ...]]:
    match part:
        case Word(text):
            yield (text,)
        case Row(parts):
            rows: list[tuple[str, ...]] = [()]
            for inner in parts:
                rows = [row + way for row in rows for way in _ways(inner)]
            yield from rows
        case Choice(options):
            for option in options:
                yield from _ways(option)


def _plainly(expression: str) -> Iterator[tuple[str, ...]]:
    """The words of an expression, every way it can be said."""
    ways: Iterator[tuple[str, ...]] = iter((tuple(expression.split()),))
    if any(mark in expression for mark in "[("):
        ways = _ways(parse_template(expression))
    for way in ways:
        if words := _counting(way):
            yield words


def _counting(words: tuple[str, ...]) -> tuple[str, ...]:
    """The words of an expression that count."""
    if not _CHANGED.intersection(words) and not any("'" in word for word in words):
        return words
    return tuple(w.text for w in said_words([Token(word, 0) for word in words]))


_CHANGED = _ARTICLES | {"not"}
"""Words that are left out or joined to the one before."""


def _first_words(part: Template) -> tuple[frozenset[str], bool]:
    """The words that a template may begin with, and perhaps some more; and whether it may be left out."""
    match part:
        case Word(text):
            piece = _apart(text)[0]
            joined = {both for (first, _), both in _JOINED.items() if first == piece}
            return frozenset({piece, *joined}), text in _ARTICLES
        case Row(parts):
            found: frozenset[str] = frozenset()
            for inner in parts:
                first, left_out = _first_words(inner)
                found |= first
                if not left_out:
                    return found, False
            return found, True
        case Choice(options):
            each = [_first_words(option) for option in options]
            return frozenset().union(*(first for first, _ in each)), any(left_out for _, left_out in each)
        case _:
            raise ValueError("an expression of parts.toml has neither rules nor slots")


def _words_of(part: Template) -> Iterator[str]:
    """Every word of a template."""
    match part:
        case Word(text):
            yield from _apart(text)
        case Row(inner) | Choice(inner):
            for each in inner:
                yield from _words_of(each)


Found = dict[tuple[str, ...], dict[Part, None]]
"""Expressions with the parts they may be."""


class Lexicon:
    """Every expression of `parts.toml`, found by its first word; those with choices are spelt out when they are met."""

    def __init__(self, tables: dict[str, dict[str, list[str]]]) -> None:
        """From the tables as they stand in the file."""
        self._plain: dict[str, Found] = {}
        self._templates: dict[str, list[tuple[str, Part]]] = {}
        words: set[str] = set()
        for role, values in tables.items():
            for value, expressions in values.items():
                part = Part(role, value)
                for expression in expressions:
                    if "[" in expression or "(" in expression:
                        template = parse_template(expression)
                        words.update(_words_of(template))
                        for word in _first_words(template)[0]:
                            self._templates.setdefault(word, []).append((expression, part))
                    elif said := _counting(tuple(expression.split())):
                        words.update(said)
                        self._plain.setdefault(said[0], {}).setdefault(said, {})[part] = None
        self._by_first: dict[str, tuple[tuple[int, ...], dict[tuple[str, ...], tuple[Part, ...]]]] = {}
        self._spelt_out: dict[str, tuple[tuple[str, ...], ...]] = {}
        self.words = frozenset(words - _ARTICLES)
        self._long = tuple(sorted(word for word in self.words if len(word) >= _MISSPELT and word.isalpha()))
        self._alike: dict[str, str] = {}

    def at(self, words: Sequence[str], at: int) -> Iterator[tuple[int, tuple[Part, ...]]]:
        """The expressions that begin at a word: index after, and the parts they may be."""
        first = words[at]
        if first not in self._by_first:
            if first not in self._plain and first not in self._templates:
                return
            self._by_first[first] = self._beginning(first)
        lengths, found = self._by_first[first]
        for length in lengths:
            parts = found.get(tuple(words[at : at + length]))
            if parts is not None and at + length <= len(words):
                yield at + length, parts

    def _beginning(self, first: str) -> tuple[tuple[int, ...], dict[tuple[str, ...], tuple[Part, ...]]]:
        """The expressions that begin with a word, and their lengths."""
        found = {words: dict(parts) for words, parts in self._plain.get(first, {}).items()}
        for expression, part in self._templates.get(first, ()):
            if expression not in self._spelt_out:
                self._spelt_out[expression] = tuple(_plainly(expression))
            for words in self._spelt_out[expression]:
                if words[0] == first:
                    found.setdefault(words, {})[part] = None
        return tuple(sorted({len(words) for words in found})), {words: tuple(parts) for words, parts in found.items()}

    def alike(self, word: str) -> str:
        """The known word that an unknown one is a misspelling of; empty when there is none."""
        if len(word) < _MISSPELT or not word.isalpha() or word in self.words or atoms(word):
            return ""
        if word not in self._alike:
            hit = process.extractOne(word, self._long, scorer=fuzz.ratio, score_cutoff=_LEAST_ALIKE)
            self._alike[word] = hit[0] if hit else ""
        return self._alike[word]


@cache
def lexicon() -> Lexicon:
    """The packaged parts."""
    return Lexicon({role: values for role, values in _tables().items() if role not in (_OUTCOME, *_NAMES)})


@cache
def part_names() -> tuple[frozenset[str], frozenset[str]]:
    """The nouns with which names of parts end, and the words that may stand before them."""
    nouns, kinds = (frozenset(_tables()[table]["yes"]) for table in _NAMES)
    return nouns, kinds


@cache
def named_quantities() -> dict[str, tuple[str, ...]]:
    """What each quantity is called, by its name."""
    return {quantity: tuple(ways) for quantity, ways in _tables()["quantity"].items()}


@cache
def outcomes() -> dict[tuple[str, str], tuple[str, bool]]:
    """For each subject and what is said of it ("leaking", "not leaking"), the outcome it is, and whether to ask."""
    return {
        (subject, said.rstrip("?").replace("-", " ")): (outcome, said.endswith("?"))
        for subject, table in _tables()[_OUTCOME].items()
        for outcome, qualities in table.items()
        for said in qualities.split()
    }


@cache
def _tables() -> dict[str, Any]:
    return tomllib.loads(resources.files("journal.wording").joinpath("parts.toml").read_text("utf-8"))
