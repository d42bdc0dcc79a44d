"""A word graph turned into what a model may write next: every usual way of writing its sentences, token by token.

A model writes "thirty eight" as "thirty eight", "thirty-eight", "38", "30 8" or "3, 8", with capitals, commas and full
stops as it likes. Places in a sentence are followed as sets, one set for all that the tokens so far can mean; what may
come next in a set, and where a token leads, is worked out when first asked for and then kept.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
import numpy.typing as npt

from journal.hearing.figures import MOST, NUMBER_WORDS, sayings
from journal.hearing.types import WordGraph

_WRITTEN_AS = {"number": ("No.", "#"), "percent": (), "okay": ("OK",)}
"""Further ways of writing a word, after a space."""
_MARKS = {"percent": "%", "is": "'s", "are": "'re", "have": "'ve", "am": "'m", "will": "'ll"}
"""Words that are written as a mark, joined to what stands before."""


class Gap(Enum):
    """What stands between a place and what was written before it."""

    SPACE = 0
    """A space is to come."""
    JOINED = 1
    """Nothing: the next word follows on a hyphen or a point."""
    WRITTEN = 2
    """A word was just written; a mark, a space or the end may come."""


@dataclass(frozen=True)
class _Rest:
    """Tokens still to be written before a state is reached."""

    tokens: tuple[int, ...]
    state: int


@dataclass(frozen=True)
class _Figures:
    """Within a number in figures that begins at a state of the graph."""

    begin: int
    figures: str
    comma: bool = False


Place = tuple[int, Gap] | _Rest | _Figures
"""Where a sentence may stand."""


@dataclass
class Options:
    """What may be written next."""

    tokens: npt.NDArray[np.int64]
    """Tokens that may come; some in figures turn out to lead nowhere."""
    may_end: bool
    """Whether the text may end here."""
    words: dict[int, set[Place]]
    """Where tokens that are not figures lead."""
    numbers: dict[bool, list[_Figures]]
    """Numbers in figures that may begin or go on, by whether a space comes first."""
    leads: dict[int, int] = field(default_factory=dict)
    """The states that tokens lead to, as far as asked for."""


class Tokens:
    """What is needed of a tokenizer."""

    def __init__(self, encode: Callable[[str], list[int]], decode: Callable[[list[int]], str], count: int) -> None:
        """Takes a tokenizer.

        Args:
            encode: text to tokens, without marks of begin and end.
            decode: tokens to text.
            count: how many tokens there are, without special ones.
        """
        self.encode = encode
        self.figures: dict[int, str] = {}
        """Tokens that are figures, without the space before them."""
        spaced: dict[bool, list[int]] = {True: [], False: []}
        for token in range(count):
            text = decode([token])
            figures = text.removeprefix(" ")
            if 1 <= len(figures) <= MOST and figures.isascii() and figures.isdigit():
                self.figures[token] = figures
                spaced[text != figures].append(token)
        self.spaced = {space: np.asarray(tokens, dtype=np.int64) for space, tokens in spaced.items()}
        """The same, by whether a space stands before them."""
        self.with_space = frozenset(spaced[True])
        self.pauses = tuple(encode(mark)[0] for mark in (",", ".", "!", "?", ":", ";", "..."))
        self.comma = encode(",")[0]
        self.point = encode(".")[0]
        self.joins = (encode("-")[0], encode(":")[0])


class Writing:
    """What may be written, as numbered states; state 0 is the start."""

    def __init__(self, graph: WordGraph, tokens: Tokens) -> None:
        """Args: graph, sentences as words, deterministic; tokens, the model's."""
        self._arcs = [dict(arcs) for arcs in graph.arcs]
        self._finals = graph.finals
        self._begin = graph.start
        self._tokens = tokens
        self._spellings: dict[tuple[str, bool], list[tuple[int, ...]]] = {}
        self._states: list[frozenset[Place]] = [frozenset({(graph.start, Gap.SPACE)})]
        self._known = {self._states[0]: 0}
        self._options: dict[int, Options] = {}

    def options(self, state: int) -> Options:
        """What may be written in a state."""
        if state not in self._options:
            self._options[state] = self._work_out(self._states[state])
        return self._options[state]

    def after(self, options: Options, token: int) -> int:
        """The state that a token of the options leads to; -1 when it leads nowhere."""
        if token not in options.leads:
            places = set(options.words.get(token, ()))
            figures = self._tokens.figures.get(token)
            if figures is not None:
                for number in options.numbers[token in self._tokens.with_space]:
                    places.update(self._grown(number, figures))
            options.leads[token] = self._number(frozenset(places)) if places else -1
        return options.leads[token]

    def _number(self, places: frozenset[Place]) -> int:
        if places not in self._known:
            self._known[places] = len(self._states)
            self._states.append(places)
        return self._known[places]

    def _work_out(self, places: frozenset[Place]) -> Options:
        words: dict[int, set[Place]] = defaultdict(set)
        numbers: dict[bool, list[_Figures]] = {True: [], False: []}
        for place in places:
            for token, leads_to in self._moves(place):
                words[token].add(leads_to)
            if isinstance(place, _Figures):
                numbers[False].append(place)
            elif not isinstance(place, _Rest) and NUMBER_WORDS & self._arcs[place[0]].keys():
                numbers[place[1] is not Gap.JOINED].append(_Figures(place[0], ""))
        found = [np.fromiter(words, dtype=np.int64, count=len(words))]
        found += [self._tokens.spaced[space] for space, begun in numbers.items() if begun]
        return Options(
            tokens=np.unique(np.concatenate(found)),
            may_end=any(self._may_end(place) for place in places),
            words=dict(words),
            numbers=numbers,
        )

    def _may_end(self, place: Place) -> bool:
        if isinstance(place, _Rest | _Figures) or place[1] is Gap.JOINED:
            return False
        return place[0] in self._finals and place != (self._begin, Gap.SPACE)

    def _moves(self, place: Place) -> Iterator[tuple[int, Place]]:
        match place:
            case _Rest(tokens, state):
                yield tokens[0], _after_first(tokens, state)
            case _Figures(begin, figures, comma):
                if len(figures) == 1 and not comma:
                    yield self._tokens.comma, _Figures(begin, figures, comma=True)
            case (state, gap):
                if gap is Gap.WRITTEN:
                    yield from self._marks(state)
                for word, target in self._arcs[state].items():
                    for tokens in self._spelled(word, gap is not Gap.JOINED):
                        yield tokens[0], _after_first(tokens, target)

    def _marks(self, state: int) -> Iterator[tuple[int, Place]]:
        """What may follow a word without a space."""
        for token in self._tokens.pauses:
            yield token, (state, Gap.SPACE)
        for token in self._tokens.joins:
            yield token, (state, Gap.JOINED)
        arcs = self._arcs[state]
        if "point" in arcs:
            yield self._tokens.point, (arcs["point"], Gap.JOINED)
        for word, mark in _MARKS.items():
            if word in arcs:
                tokens = tuple(self._tokens.encode(mark))
                yield tokens[0], _after_first(tokens, arcs[word])

    def _grown(self, number: _Figures, more: str) -> Iterator[Place]:
        """Where a number stands after further figures."""
        figures = number.figures + more
        if len(figures) > MOST or (number.comma and len(more) != 3):
            return
        if len(figures) < MOST and not number.comma:
            yield _Figures(number.begin, figures)
        for words in sayings(figures):
            target = self._walk(number.begin, words)
            if target is not None:
                yield target, Gap.WRITTEN

    def _walk(self, state: int, words: tuple[str, ...]) -> int | None:
        for word in words:
            reached = self._arcs[state].get(word)
            if reached is None:
                return None
            state = reached
        return state

    def _spelled(self, word: str, spaced: bool) -> list[tuple[int, ...]]:
        """The tokens of a word, small and with a capital."""
        key = (word, spaced)
        if key not in self._spellings:
            forms = dict.fromkeys((word, word.capitalize(), *_WRITTEN_AS.get(word, ())))
            self._spellings[key] = [tuple(self._tokens.encode(" " * spaced + form)) for form in forms]
        return self._spellings[key]


def _after_first(tokens: tuple[int, ...], state: int) -> Place:
    return _Rest(tokens[1:], state) if len(tokens) > 1 else (state, Gap.WRITTEN)


def sentences(texts: Iterable[str]) -> WordGraph:
    """The word graph of these sentences and no others; words are parted by spaces."""
    arcs: list[dict[str, int]] = [{}]
    finals: set[int] = set()
    for text in texts:
        state = 0
        for word in text.split():
            if word not in arcs[state]:
                arcs[state][word] = len(arcs)
                arcs.append({})
            state = arcs[state][word]
        if state:
            finals.add(state)
    return WordGraph(tuple(tuple(each.items()) for each in arcs), frozenset(finals))
