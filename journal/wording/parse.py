"""Words in, everything they can mean by the phrase grammar out, each with how far the words are from the phrase."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from journal.wording.cylinders import MOST_CYLINDERS, ORDINALS, cylinder_at, several_at
from journal.wording.frames import ends_expression, ways
from journal.wording.lexicon import Said as Word
from journal.wording.lexicon import in_full, said_words
from journal.wording.network import Network, network
from journal.wording.numbers import atoms, cardinal, readings
from journal.wording.sounds import alike, known_words
from journal.wording.tokens import Token, tokenise
from journal.wording.vocabulary import (
    CYLINDER_SLOTS,
    LIST_SLOT,
    TEXT_SLOT,
    Vocabulary,
    vocabulary,
)

_PAUSE_IN_NUMBER = 0.4
_SPLIT_NUMBER = 0.8
_BARE_START = 0.3
_DANGLING = frozenset(
    [
        "the",
        "a",
        "an",
        "on",
        "of",
        "to",
        "in",
        "at",
        "and",
        "with",
        "from",
        "for",
        "number",
        "cylinder",
        "is",
        "was",
        "point",
    ]
)
"""Words with which nobody ends: more was said than was made out."""
_FEWER_PARTS = 0.15
_SKIPPED_WORD = 3.0
_FEWER_PHRASES = 0.5
_COLLECTED = 0.25
_JOINED_ALIKE = 0.75
_WIDTH = 150
_MOST_SAID = 24
"""Phrases that anybody says in a breath; without a bound a thousand figures would take many seconds."""
_WORST = 4.5
_TO_THE_LETTER = 0.25
"""Cost below which words are a phrase as it is written in the vocabulary."""
_AS_SEVERAL = 0.3
"""Cost of several phrases in a breath, beside what the parts of the whole mean."""
_SENSIBLE = 1.5
"""Cost below which nothing further is tried."""
_FAR_FETCHED = 0.55
"""Cost beyond the best from which another way is not worth a thought."""


@dataclass(frozen=True)
class Filled:
    """A slot or an attribute with what fills it."""

    name: str
    """The slot's or the attribute's name."""
    value: Any
    """A float for numbers, an int for a cylinder, a tuple of ints for several, text otherwise."""
    start: int = -1
    """Index of the first token that says it; -1 when no number says it."""
    end: int = -1
    """Index of the token after it."""


@dataclass(frozen=True)
class Said:
    """One phrase found in an utterance."""

    phrase: int
    """The phrase's index in the vocabulary."""
    filled: tuple[Filled, ...]
    """What fills its slots."""
    start: int
    """Index of its first token."""
    end: int
    """Index of the token after its last."""
    asked: bool = False
    """Whether it is to be asked about however clear the words are: "maybe thirty eight"."""
    strange: bool = False
    """Whether words of no meaning stand among its own, which may be something else misheard."""


@dataclass(frozen=True)
class Parse:
    """One way of understanding a whole utterance."""

    said: tuple[Said, ...]
    """The phrases, in order."""
    cost: float
    """How far the words are from the phrases: 0 word for word, 1 for about one doubtful word."""


@dataclass(frozen=True)
class _Place:
    state: int
    filled: tuple[Filled, ...]
    said: tuple[Said, ...]
    start: int


def parse(text: str, cylinders: int | None = None, *, fuzzy: bool = True) -> list[Parse]:
    """Everything a text can mean, cheapest first; the same phrases with the same fillings only once.

    Args:
        text: any text at all.
        cylinders: how many the engine has; none for 20.
        fuzzy: whether words that merely sound alike may stand for each other where the plain words make no sense.
    """
    return parse_tokens(tokenise(text), text, cylinders, fuzzy=fuzzy)


def parse_tokens(
    tokens: Sequence[Token], text: str, cylinders: int | None = None, *, fuzzy: bool = True
) -> list[Parse]:
    """The same from tokens already made of `text`.

    Words that are a phrase to the letter mean that. Else they are understood by their parts, in any order, beside what
    they may be as several phrases; only where that makes no sense may words stand for others that sound alike.
    """
    if not tokens:
        return []
    cylinders = cylinders or MOST_CYLINDERS
    plainly = _Search(tokens, text, cylinders, fuzzy=False).run()
    if not fuzzy or (plainly and plainly[0].cost < _TO_THE_LETTER and len(plainly[0].said) == 1):
        return plainly
    several = [replace(p, cost=p.cost + _AS_SEVERAL * (len(p.said) > 1)) for p in plainly]
    framed = _framed(tokens, text, cylinders)
    best = min((p.cost for p in (*framed, *several)), default=0.0)
    if framed and framed[0].cost <= best:
        several = [p for p in several if len(p.said) == 1]
    found = _near([*(p for p in framed if p.cost <= best + _FAR_FETCHED), *several])
    if found and found[0].cost < _SENSIBLE and not _asks(found[0]):
        return found
    return _near([*found, *_Search(tokens, text, cylinders, fuzzy=True).run()])


def _near(parses: list[Parse]) -> list[Parse]:
    """The same only once, cheapest first, without those that take more apart than need be."""
    best: dict[tuple[Said, ...], Parse] = {}
    for parse in sorted(parses, key=lambda p: (p.cost, _asks(p))):
        best.setdefault(tuple(replace(said, asked=False, strange=False, start=0, end=0) for said in parse.said), parse)
    return _undominated(list(best.values()), _FEWER_PARTS)


def _asks(parse: Parse) -> bool:
    return any(said.asked for said in parse.said)


@cache
def _framed_kinds() -> dict[str, int]:
    """The phrase that stands for each kind of entry understood by its parts."""
    return {phrase.kind: index for index, phrase in enumerate(vocabulary().phrases) if phrase.framed}


def _framed(tokens: Sequence[Token], text: str, cylinders: int) -> list[Parse]:
    """What the words mean by their parts."""
    words = said_words(tokens)
    dangling = tokens[-1].text in _DANGLING and not ends_expression([w.text for w in words])
    dangling = dangling and not (len(words) > 1 and words[-2].text in ORDINALS)
    parses = []
    for way in ways(words, cylinders):
        said = []
        for at, made in enumerate(way.made):
            start, end = words[made.start].token, words[made.end - 1].token + 1
            told = next((f for f in made.fills if f.name == "words"), None)
            if told is not None:
                start = words[told.start].token
                # In the words said: with those that mean nothing by themselves, as far as the next thing said.
                end = words[way.made[at + 1].start].token if at + 1 < len(way.made) else len(tokens)
            stop = tokens[end].start if end < len(tokens) else len(text)
            filled = tuple(
                Filled("text", in_full(text[tokens[start].start : stop].strip(" ,;")))
                if f.name == "words"
                else Filled("description", " ".join(w.text for w in words[f.start : f.end]))
                if f.name == "called"
                else Filled(f.name, f.value, *_tokens_of(f.start, f.end, words))
                for f in made.fills
            )
            asked = made.asked or dangling
            said.append(Said(_framed_kinds()[made.kind], _in_order(filled), start, end, asked, made.strange))
        parses.append(Parse(tuple(said), way.cost))
    return parses


def _tokens_of(start: int, end: int, words: Sequence[Word]) -> tuple[int, int]:
    return (words[start].token, words[end - 1].token + 1) if start >= 0 else (-1, -1)


class _Search:
    """A breadth-first walk of the network along the tokens, keeping the cheapest way to each place."""

    def __init__(self, tokens: Sequence[Token], text: str, cylinders: int, *, fuzzy: bool) -> None:
        self.tokens = tokens
        self.words = [t.text for t in tokens]
        self.text = text
        self.cylinders = cylinders
        self.fuzzy = fuzzy
        self.net: Network = network()
        self.vocabulary: Vocabulary = vocabulary()
        self.chart: list[dict[_Place, float]] = [{} for _ in range(len(tokens) + 1)]
        self._slots: dict[tuple[str, int], tuple[tuple[int, Any, float], ...]] = {}

    def run(self) -> list[Parse]:
        self.chart[0][_Place(0, (), (), 0)] = 0.0
        last = len(self.tokens)
        for at in range(last + 1):
            self._close(at)
            if at < last:
                places = sorted(self.chart[at].items(), key=lambda item: item[1])[:_WIDTH]
                arcs = list(self._heard(at))
                for place, cost in places:
                    self._advance(at, place, cost, arcs)
        found: dict[tuple[Said, ...], float] = {}
        for place, cost in self.chart[last].items():
            if place.state == 0 and place.said:
                found[place.said] = min(cost, found.get(place.said, 99.0))
        ranked = [Parse(said, cost) for said, cost in sorted(found.items(), key=lambda item: item[1])]
        return _undominated(ranked)

    def _put(self, at: int, place: _Place, cost: float) -> None:
        if cost <= _WORST and cost < self.chart[at].get(place, 99.0):
            self.chart[at][place] = cost

    def _close(self, at: int) -> None:
        """Where a phrase may end here, let another begin."""
        for place, cost in list(self.chart[at].items()):
            if place.state == 0:
                continue
            for index, tags in self.net.step(place.state).ends:
                if len(place.said) >= _MOST_SAID:
                    continue
                if place.said and not (self._breath(index) and self._breath(place.said[-1].phrase)):
                    continue
                filled = place.filled + tuple(Filled(*tag) for tag in tags)
                said = Said(index, _in_order(filled), place.start, at)
                self._put(at, _Place(0, (), (*place.said, said), at), cost)

    def _breath(self, index: int) -> bool:
        return self.vocabulary.phrases[index].breath

    def _kept(self, word: str) -> bool:
        return word in self.vocabulary.kept or word.endswith("n't")

    def _heard(self, at: int) -> Iterator[tuple[str, int, float]]:
        """Words the tokens from here may be: word, index after, cost."""
        word = self.words[at]
        yield word, at + 1, 0.0
        if word.isascii() and word.isdigit() and len(word) < 3:
            for part in cardinal(float(word)) if float(word) < 21 else ():
                yield part, at + 1, 0.0
        for many in (1, 2, 3):
            written = tuple(self.words[at : at + many])
            if len(written) == many:
                for meant in self.vocabulary.spelt_out.get(written, ()):
                    yield meant, at + many, 0.05
                for meant in self.vocabulary.sounds.get(written, ()):
                    yield meant, at + many, _COLLECTED if self.words[at] not in known_words() else 2 * _COLLECTED
        if not self.fuzzy or self._kept(word):
            return
        if not any(atom.cost == 0 for atom in atoms(word)):
            for other, cost in alike(word):
                yield other, at + 1, cost + (0.6 if word in known_words() else 0.0)
        for many in (2, 3):
            parts = self.words[at : at + many]
            if len(parts) == many and not any(p[0].isdigit() or self._kept(p) for p in parts):
                joined = "".join(parts)
                if joined in known_words():
                    yield joined, at + many, 0.1
                for other, cost in alike(joined):
                    if len(other) > 4 and cost <= _JOINED_ALIKE:
                        yield other, at + many, cost + 0.3

    def _advance(self, at: int, place: _Place, cost: float, arcs: list[tuple[str, int, float]]) -> None:
        word = self.words[at]
        step = self.net.step(place.state)
        if word in self.vocabulary.fillers or (place.state == 0 and word in self.vocabulary.edges):
            start = at + 1 if place.state == 0 else place.start
            self._put(at + 1, _Place(place.state, place.filled, place.said, start), cost)
        elif self.fuzzy and not atoms(word) and not self._kept(word):
            self._put(at + 1, place, cost + _SKIPPED_WORD)
        for heard, end, extra in arcs:
            for target, tags in step.words.get(heard, ()):
                filled = place.filled + tuple(Filled(*tag) for tag in tags)
                self._put(end, _Place(target, filled, place.said, place.start), cost + extra)
        for slot, target, tags in step.slots:
            if slot == TEXT_SLOT and cost > 0:
                continue
            for end, value, extra in self._fill(slot, at):
                if place.state == 0 and place.said:
                    extra += self._bare(at)
                filled = (*place.filled, *(Filled(*tag) for tag in tags), Filled(slot, value, at, end))
                self._put(end, _Place(target, filled, place.said, place.start), cost + extra)

    def _bare(self, at: int) -> float:
        """Cost of a phrase that begins with a number straight after another phrase."""
        if self.tokens[at].pause:
            return 0.0
        before = atoms(self.words[at - 1])
        split = any(a.size == "tens" for a in before) and any(a.size == "digit" for a in atoms(self.words[at]))
        return _BARE_START + (_SPLIT_NUMBER if split else 0.0)

    def _fill(self, slot: str, at: int) -> tuple[tuple[int, Any, float], ...]:
        """What a slot can hold from here: index after, value, cost."""
        key = ("cylinder" if slot in CYLINDER_SLOTS else slot, at)
        if key not in self._slots:
            self._slots[key] = tuple(self._fillings(slot, at))
        return self._slots[key]

    def _fillings(self, slot: str, at: int) -> Iterator[tuple[int, Any, float]]:
        if slot == TEXT_SLOT:
            yield len(self.tokens), self.text[self.tokens[at].start :].strip(), 0.0
        elif slot in CYLINDER_SLOTS:
            yield from cylinder_at(self.words, at, self.cylinders)
        elif slot == LIST_SLOT:
            yield from several_at(self.words, at, self.cylinders)
        elif slot == "engine_count":
            yield from (
                (end, n, cost) for end, n, cost in cylinder_at(self.words, at, self.cylinders) if n == self.cylinders
            )
        else:
            most = 6 if slot in ("spn", "count") else 4
            for reading in readings(self.words, at, most_figures=most, signed=slot == "signed"):
                pauses = sum(self.tokens[i].pause for i in range(at + 1, reading.end))
                yield reading.end, float(reading.value), reading.cost + pauses * _PAUSE_IN_NUMBER


def _undominated(parses: list[Parse], fewer: float = _FEWER_PHRASES) -> list[Parse]:
    """Without those that need more phrases for the same words, or leave more of a phrase to free text.

    Args:
        parses: cheapest first.
        fewer: how much more a way with fewer phrases may cost to be preferred.
    """
    kept = []
    for parse in parses:
        shorter = any(len(p.said) < len(parse.said) and p.cost <= parse.cost + fewer for p in parses)
        longer_text = any(p is not parse and _same_with_less_text(p, parse) for p in parses)
        if not shorter and not longer_text:
            kept.append(parse)
    return kept


def _same_with_less_text(one: Parse, other: Parse) -> bool:
    if len(one.said) != 1 or len(other.said) != 1 or one.said[0].phrase != other.said[0].phrase:
        return False
    texts = [[f.value for f in p.said[0].filled if f.name == TEXT_SLOT] for p in (one, other)]
    return bool(texts[0] and texts[1]) and len(texts[0][0]) < len(texts[1][0])


def _in_order(filled: tuple[Filled, ...]) -> tuple[Filled, ...]:
    return tuple(sorted(dict.fromkeys(filled), key=lambda f: (f.name, f.start)))
