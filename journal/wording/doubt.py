"""Candidates from every listener in, what the utterance may mean with a probability each out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from journal.facts import Cut
from journal.hearing.types import Candidate
from journal.wording.cylinders import BEYOND_ENGINE
from journal.wording.meanings import Refused, after, meaning_of
from journal.wording.numbers import atoms, cardinal, readings
from journal.wording.parse import Filled, Parse, Said, parse_tokens
from journal.wording.sounds import known_words, likeness
from journal.wording.tokens import Token, tokenise
from journal.wording.types import Context, Meaning
from journal.wording.vocabulary import CYLINDER_SLOTS, NUMBER_SLOTS, vocabulary

TYPED = "typed"
"""The listener's name for words that were typed: nothing sounds like anything else."""

_SHARPNESS = 3.0
_NOTHING_COST = 0.5
_NOTHING_COST_PER_WORD = 0.35
_FLOOR = 0.01
"""What a listener grants to what it has not thought of, besides its share."""
_WEIGHED_FLOOR = 0.001
"""The same for one that has weighed what the others heard, and that nothing was said."""
_NO_SAY = 0.5
"""Share of nothing said with a listener that must find a phrase in anything."""
_MOST_PARSES = 10
_NBEST_FACTOR = 0.3
_UNAWAITED = 0.05
_ANSWERS = "answers a question"
_DISLIKENESS = 8.0
LIKE = 0.55
"""Likeness to an unconstrained text from which a candidate is above suspicion."""

_COUNTING = 3.0
_UNEXPECTED = 1.5
_UNASKED = 4.0
"""Cost of an "okay" or "right" that answers nothing."""


@dataclass(frozen=True)
class Piece:
    """One thing said, as understood."""

    meaning: Meaning | Refused
    """What it means here, or why it makes no sense."""
    heard: str
    """The words it was made from."""
    asked: bool = False
    """Whether it is to be asked about however clear the words are."""
    strange: bool = False
    """Whether words of no meaning stand among its own."""


@dataclass(frozen=True)
class Understanding:
    """One way of understanding the whole utterance."""

    pieces: tuple[Piece, ...]
    """The things said, in order; none for nothing that is for the tool."""
    probability: float
    """That this is what was said, by the sound alone, 0 to 1."""
    agreed: bool = False
    """Whether two listeners and more each hold it the likeliest thing said."""
    alone: bool = False
    """Whether one of several listeners only has thought of it."""
    outdone: bool = False
    """Whether a listener that has weighed that nothing was said holds something else likelier."""

    @property
    def heard(self) -> str:
        """The words of all pieces."""
        return " ".join(piece.heard for piece in self.pieces)

    @property
    def meanings(self) -> tuple[Meaning | Refused, ...]:
        """What its pieces mean."""
        return tuple(piece.meaning for piece in self.pieces)


def understand(candidates: Sequence[Candidate], context: Context, free_text: str = "") -> list[Understanding]:
    """Every way to understand an utterance, most probable first; what the job leads one to expect is left aside.

    Each listener spreads one unit of belief over its candidates by score, over their parses by cost, and over what
    sounds alike; listeners multiply, with a floor so that none can veto. A candidate without text stands for nothing
    that is for the tool. A candidate that does not sound like what an unconstrained recogniser made of it (`free_text`)
    weighs less.
    """
    listeners: dict[str, list[Candidate]] = {}
    for candidate in candidates:
        listeners.setdefault(candidate.listener, []).append(candidate)
    doubters = [any(not candidate.text for candidate in heard) for heard in listeners.values()]
    beliefs = [_belief(heard, context, free_text, held=any(doubters)) for heard in listeners.values()]
    shares = [{tuple(p.meaning for p in found): share for found, share in belief.items()} for belief in beliefs]
    likely_first = sorted((pair for belief in beliefs for pair in belief.items()), key=lambda pair: -pair[1])
    pieces: dict[tuple[Meaning | Refused, ...], tuple[Piece, ...]] = {(): ()}
    for found, _ in likely_first:
        pieces.setdefault(tuple(p.meaning for p in found), found)
    if any(doubters):
        # One that must always find a phrase cannot say that there was none.
        for share, doubts in zip(shares, doubters, strict=True):
            if not doubts:
                share[()] = max(share.get((), 0.0), _NO_SAY)
    floors = [_WEIGHED_FLOOR if doubts else _FLOOR for doubts in doubters]
    joint = {k: math.prod(f + s.get(k, 0.0) for s, f in zip(shares, floors, strict=True)) for k in pieces}
    if len(shares) == 1:
        joint = {key: shares[0].get(key, 0.0) for key in pieces}
    total = sum(joint.values()) or 1.0
    likeliest = {max((key for key in share if key), key=share.__getitem__, default=()) for share in shares}
    agreed = likeliest if len(shares) > 1 and len(likeliest) == 1 else set()
    weighed = {max(s, key=s.__getitem__, default=()) for s, doubts in zip(shares, doubters, strict=True) if doubts}
    thought_of = Counter(key for share in shares for key in share)
    ranked = [
        Understanding(
            pieces[key],
            weight / total,
            agreed=key in agreed,
            alone=len(shares) > 1 and thought_of[key] == 1,
            outdone=bool(weighed - {key}),
        )
        for key, weight in joint.items()
        if weight > 0
    ]
    return sorted(ranked, key=lambda u: -u.probability)


def _belief(
    heard: Sequence[Candidate], context: Context, free_text: str, *, held: bool
) -> dict[tuple[Piece, ...], float]:
    """One listener's belief; equal meanings are joined under the first pieces that gave them.

    Args:
        heard: its candidates.
        context: the job so far.
        free_text: unconstrained text of the same sound.
        held: whether its texts follow the phrases, so that only a candidate without text stands for nothing.
    """
    top = max(c.score for c in heard)
    shares = [(c, tokens := tokenise(c.text), list(_shares(c, tokens, context, held=held))) for c in heard]
    weights = [
        math.exp(c.score - top) * _prior(ways, context) * _resemblance(c.text, free_text) for c, _, ways in shares
    ]
    total = sum(weight for weight, (_, _, ways) in zip(weights, shares, strict=True) if ways) or 1.0
    by_meaning: dict[tuple[Meaning | Refused, ...], tuple[tuple[Piece, ...], float]] = {}
    sources: dict[tuple[Meaning | Refused, ...], tuple[Parse, tuple[Token, ...]]] = {}
    for (candidate, tokens, ways), weight in zip(shares, weights, strict=True):
        for parse, share in ways:
            found = () if parse is None else _once(_pieces(parse, tokens, candidate.text, context))
            key = tuple(p.meaning for p in found)
            first, so_far = by_meaning.get(key, (found, 0.0))
            by_meaning[key] = (first, so_far + share * weight / total)
            if parse is not None:
                sources.setdefault(key, (parse, tokens))
    if heard[0].listener != TYPED:
        _smear(by_meaning, sources, context, _NBEST_FACTOR if len(heard) > 2 else 1.0)
    return dict(by_meaning.values())


def _prior(ways: Sequence[tuple[Parse | None, float]], context: Context) -> float:
    """How often a thing like this is said at all: hardly ever a bare number or a yes that nothing waits for."""
    best = max(ways, key=lambda way: way[1] if way[0] is not None else 0.0, default=(None, 0.0))[0]
    awaited = context.expects_number or context.question_options
    if best is None or awaited:
        return 1.0
    phrase = vocabulary().phrases[best.said[0].phrase]
    return _UNAWAITED if phrase.kind == "number" or phrase.means == _ANSWERS else 1.0


def _resemblance(text: str, free_text: str) -> float:
    """Factor for how far a candidate is from what an unconstrained recogniser made of the same sound."""
    if not free_text.strip() or not text:
        return 1.0
    return math.exp(-_DISLIKENESS * max(0.0, LIKE - likeness(text, free_text)))


def _once(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """Without repetitions of the whole: recognisers that run on say everything again."""
    meanings = [p.meaning for p in pieces]
    for length in range(1, len(pieces) // 2 + 1):
        if len(pieces) % length == 0 and meanings == meanings[:length] * (len(pieces) // length):
            return pieces[:length]
    return pieces


def _shares(
    candidate: Candidate, tokens: tuple[Token, ...], context: Context, *, held: bool
) -> Iterator[tuple[Parse | None, float]]:
    """A text's parses with their share of it, and the share that it is nothing for the tool."""
    cylinders = context.engine.cylinders if context.engine else None
    parses = parse_tokens(tokens, candidate.text, cylinders)[:_MOST_PARSES]
    nothing = math.exp(-_SHARPNESS * (_NOTHING_COST + _NOTHING_COST_PER_WORD * len(tokens)))
    if not parses:
        if not (held and tokens):
            yield None, 1.0
        return
    weights = [
        math.exp(-_SHARPNESS * (p.cost + _out_of_place(p, tokens, context, alone=_stands_out(p, parses))))
        for p in parses
    ]
    total = sum(weights) + (0.0 if held else nothing)
    for parse, weight in zip(parses, weights, strict=True):
        yield parse, weight / total
    if not held:
        yield None, nothing / total


def _out_of_place(parse: Parse, tokens: tuple[Token, ...], context: Context, *, alone: bool) -> float:
    """Cost of a bare number where none is awaited, of a reading where one is, and of counting aloud.

    Args:
        parse: one way of understanding the words.
        tokens: the words.
        context: whether a number is awaited.
        alone: whether every other way is far-fetched.
    """
    phrase = vocabulary().phrases[parse.said[0].phrase]
    if phrase.only == "question" and not context.question_options:
        return _UNASKED
    if phrase.kind != "number":
        awaited = context.expects_number or (context.question_options and _figures_only(tokens))
        unexpected = _UNEXPECTED if awaited and phrase.kind != "command" else 0.0
        return unexpected + (_COUNTING if _counts(parse, tokens) else 0.0)
    value = next(f.value for f in parse.said[0].filled)
    answers = any(getattr(option, "value", None) == value for option in context.question_options)
    if context.expects_number or answers or (context.question_options and alone):
        return 0.0
    waits = context.question_options or (context.baseline is not None and context.next_cylinder is not None)
    return 0.8 if waits else _UNEXPECTED


def _figures_only(tokens: Sequence[Token]) -> bool:
    return all(atoms(token.text) for token in tokens)


def _stands_out(parse: Parse, parses: Sequence[Parse]) -> bool:
    return all(other is parse or other.cost >= parse.cost + BEYOND_ENGINE for other in parses)


def _counts(parse: Parse, tokens: tuple[Token, ...]) -> bool:
    """Whether the words are just figures up or down by one: "one two three"."""
    words = [t.text for t in tokens[parse.said[0].start : parse.said[-1].end]]
    said = [atoms(word) for word in words if atoms(word)]
    if len(said) < 3 or any(word in known_words() for word in words if not atoms(word)):
        return False
    if any(found[0].size == "tens" for found in said):
        return False
    return {b[0].value - a[0].value for a, b in pairwise(said)} in ({1.0}, {-1.0})


def _pieces(parse: Parse, tokens: tuple[Token, ...], text: str, context: Context) -> tuple[Piece, ...]:
    phrases = vocabulary().phrases
    found: list[Piece] = []
    for said in parse.said:
        filled = {f.name: f.value for f in said.filled}
        end = tokens[said.end].start if said.end < len(tokens) else len(text)
        heard = text[tokens[said.start].start : end].strip()
        phrase = phrases[said.phrase]
        meaning = meaning_of(phrase, filled, context)
        guessed = phrase.kind == "number" and isinstance(meaning, Cut)
        found.append(Piece(meaning, heard, asked=said.asked or guessed, strange=said.strange))
        context = after(context, found[-1].meaning)
    return tuple(found)


def _smear(
    by_meaning: dict[tuple[Meaning | Refused, ...], tuple[tuple[Piece, ...], float]],
    sources: dict[tuple[Meaning | Refused, ...], tuple[Parse, tuple[Token, ...]]],
    context: Context,
    factor: float,
) -> None:
    """Give what sounds alike its part of the belief, unless the listener itself has weighed it."""
    weighed = set(by_meaning)
    for key, (parse, tokens) in sources.items():
        pieces, share = by_meaning[key]
        if share < 0.05:
            continue
        for at, said in enumerate(parse.said[: len(pieces)]):
            for other, often in sound_alikes(said, tokens):
                filled = {f.name: f.value for f in other.filled}
                meaning = meaning_of(vocabulary().phrases[said.phrase], filled, context)
                changed = (*pieces[:at], replace(pieces[at], meaning=meaning), *pieces[at + 1 :])
                new = tuple(p.meaning for p in changed)
                if new in weighed or new == key or isinstance(meaning, Refused):
                    continue
                part = share * often * factor
                by_meaning[new] = (changed, by_meaning.get(new, (changed, 0.0))[1] + part)
                by_meaning[key] = (pieces, by_meaning[key][1] - part)


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
                if reading.end == len(changed) and reading.value != value:
                    found[reading.value] = max(often, found.get(reading.value, 0.0))
    return tuple(sorted(found.items(), key=lambda item: -item[1]))
