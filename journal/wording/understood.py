"""One text in, every way to understand it out, each with its share: what it means, or nothing for the tool."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from journal.facts import Cut, JobFact
from journal.wording.cylinders import BEYOND_ENGINE
from journal.wording.expect import expected
from journal.wording.figures import settings
from journal.wording.meanings import Refused, after, meaning_of
from journal.wording.numbers import POINTS, atoms
from journal.wording.parse import Parse, parse_tokens
from journal.wording.sounds import known_words
from journal.wording.tokens import Token, tokenise
from journal.wording.types import Context, Meaning, Number
from journal.wording.vocabulary import vocabulary

_SAME = re.compile(r"\bsame\b", re.IGNORECASE)
_STAYS = re.compile(r"\b(?:stay|still|remain|hold|held|sat|sit|keep|kept|fuel|no|nothing)", re.IGNORECASE)
"""What says beside "the same" that nothing moved."""

Meanings = tuple[Meaning | Refused, ...]
"""What the things said in one utterance mean, in order; empty for nothing that is for the tool."""


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
    idle: bool = False
    """Whether it is a number alone that nothing waits for."""
    by_parts: bool = False
    """Whether it was understood by its parts, not as a phrase."""


@dataclass(frozen=True)
class Way:
    """One way to understand a text."""

    pieces: tuple[Piece, ...]
    """The things said, in order; none for nothing that is for the tool."""
    share: float
    """Natural log of how likely it is, the text given."""
    cost: float = 0.0
    """How far the words are from what can be said; see `Parse.cost`."""
    parse: Parse | None = None
    """What it was made from."""
    tokens: tuple[Token, ...] = ()
    """The words."""

    @property
    def meanings(self) -> Meanings:
        """What its pieces mean."""
        return tuple(piece.meaning for piece in self.pieces)


def ways(text: str, context: Context) -> list[Way]:
    """Every way to understand a text, likeliest first; the last resort is that it is nothing for the tool."""
    tokens = tokenise(text)
    text_settings = settings()["text"]
    parses = parse_tokens(tokens, text, context.engine.cylinders if context.engine else None)
    costs = [p.cost + _out_of_place(p, tokens, context, parses) for p in parses[: int(text_settings["parses"])]]
    nothing = text_settings["nothing"] + text_settings["nothing_per_word"] * len(tokens)
    weights = [-text_settings["sharpness"] * cost for cost in (*costs, nothing)]
    total = math.log(sum(map(math.exp, weights))) if parses else weights[-1]
    found: dict[Meanings, Way] = {}
    for parse, cost, weight in zip(parses, costs, weights, strict=False):
        way = Way(_once(tuple(_pieces(parse, tokens, text, context))), weight - total, cost, parse, tokens)
        same = found.get(way.meanings)
        if same is None:
            found[way.meanings] = way
        else:
            share = same.share + math.log1p(math.exp(way.share - same.share))
            found[way.meanings] = Way(same.pieces, share, same.cost, same.parse, same.tokens)
    nothing_said = Way((), weights[-1] - total, nothing, None, tokens)
    return sorted((*found.values(), nothing_said), key=lambda way: -way.share)


def answers_nothing(meaning: Meaning | Refused, context: Context) -> bool:
    """Whether it makes no sense here, or is a number that the waiting question does not name."""
    if isinstance(meaning, Number) and context.question_options and not context.expects_number:
        return all(getattr(option, "value", None) != meaning.value for option in context.question_options)
    return isinstance(meaning, Refused)


def _once(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """Without repetitions of the whole: recognisers that run on say everything again."""
    meanings = [p.meaning for p in pieces]
    for length in range(1, len(pieces) // 2 + 1):
        if len(pieces) % length == 0 and meanings == meanings[:length] * (len(pieces) // length):
            return pieces[:length]
    return pieces


def _out_of_place(parse: Parse, tokens: Sequence[Token], context: Context, parses: Sequence[Parse]) -> float:
    """Cost of a bare number where none is awaited, of a reading where one is, and of counting aloud."""
    costs = settings()["text"]
    phrase = vocabulary().phrases[parse.said[0].phrase]
    names_both = any(f.name == "other_cylinder" for f in parse.said[0].filled)
    if phrase.only == "question" and not context.question_options and not names_both:
        return costs["unasked"]
    if phrase.only == "led" and (context.awaits is None or context.question_options):
        return costs["unasked"]
    if phrase.kind != "number":
        figures = all(atoms(token.text) for token in tokens)
        number = any(vocabulary().phrases[other.said[0].phrase].kind == "number" for other in parses)
        awaited = number and (context.expects_number or (context.question_options and figures))
        unexpected = costs["unawaited"] if awaited and phrase.kind != "command" else 0.0
        return unexpected + (costs["counting"] if _counts(parse, tokens) else 0.0)
    value = next(f.value for f in parse.said[0].filled)
    answers = any(getattr(option, "value", None) == value for option in context.question_options)
    alone = all(other is parse or other.cost >= parse.cost + BEYOND_ENGINE for other in parses)
    if context.expects_number or answers or (context.question_options and alone):
        return 0.0
    if context.awaits is not None and not context.question_options:
        return 0.0
    return costs["unnamed" if context.question_options or _next_reading(float(value), context) else "unawaited"]


def _for_another(meaning: Meaning | Refused, tokens: Sequence[Token], awaited: Meaning) -> bool:
    """Whether figures and nothing else seem to say another cylinder than the one that was asked for."""
    if not isinstance(meaning, Cut) or not isinstance(awaited, Cut) or meaning.cylinder == awaited.cylinder:
        return False
    return all(atoms(token.text) or token.text in POINTS for token in tokens)


def _next_reading(value: float, context: Context) -> bool:
    """Whether a bare number may be what the next cylinder reads."""
    if context.baseline is None or context.next_cylinder is None:
        return False
    return expected(Cut(context.next_cylinder, value), context)


def _counts(parse: Parse, tokens: Sequence[Token]) -> bool:
    """Whether the words are just figures up or down by one: "one two three"."""
    words = [t.text for t in tokens[parse.said[0].start : parse.said[-1].end]]
    said = [atoms(word) for word in words if atoms(word)]
    cut = vocabulary().phrases[parse.said[0].phrase]
    known = any(word in known_words() for word in words if not atoms(word))
    if len(said) < 3 or (known and not (cut.framed and cut.kind == "cut")):
        return False
    if any(found[0].size == "tens" for found in said):
        return False
    return {b[0].value - a[0].value for a, b in pairwise(said)} in ({1.0}, {-1.0})


def _as_the_last(meaning: Meaning | Refused, heard: str, context: Context) -> bool:
    """Whether "the same" may be the same as another cylinder's reading that was just told, and not no change."""
    last = context.last
    told = isinstance(last, Cut) and last.value is not None
    no_change = isinstance(meaning, Cut) and meaning.no_change
    return told and no_change and bool(_SAME.search(heard)) and not _STAYS.search(heard)


def _may_be_a_no(heard: str, context: Context) -> bool:
    """Whether a note may be a cut reading whose "no" was heard as "note": "note change on four"."""
    opener, _, rest = heard.partition(" ")
    if opener.lower() != "note":
        return False
    denied = f"no {rest}"
    found = parse_tokens(tokenise(denied), denied, context.engine.cylinders if context.engine else None)
    kinds = {vocabulary().phrases[said.phrase].kind for said in found[0].said} if found else set()
    return kinds == {"cut"}


def _pieces(parse: Parse, tokens: Sequence[Token], text: str, context: Context) -> Iterator[Piece]:
    for said in parse.said:
        filled = {f.name: f.value for f in said.filled}
        end = tokens[said.end].start if said.end < len(tokens) else len(text)
        heard = text[tokens[said.start].start : end].strip()
        phrase = vocabulary().phrases[said.phrase]
        meaning = meaning_of(phrase, filled, context)
        number = phrase.kind == "number"
        guessed, idle = number and isinstance(meaning, Cut), number and answers_nothing(meaning, context)
        if context.awaits is not None:
            guessed = _for_another(meaning, tokens[said.start : said.end], context.awaits)
        guessed = guessed or (phrase.kind == "note" and _may_be_a_no(heard, context))
        guessed = guessed or _as_the_last(meaning, heard, context)
        # Nobody names the machine amid its cuts: "unit forty two's up next" is about another.
        guessed = guessed or (isinstance(meaning, JobFact) and meaning.field == "unit" and bool(context.done))
        yield Piece(meaning, heard, said.asked or guessed, said.strange, idle, phrase.framed)
        context = after(context, meaning)
