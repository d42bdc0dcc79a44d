"""The phrase grammar in, the forms recognisers take out: word list and word graph."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from journal.errors import BadInput
from journal.hearing.types import Expect, Speakable, WordGraph
from journal.wording.automaton import minimal
from journal.wording.lexicon import lexicon
from journal.wording.numbers import DIGITS, TEENS, TENS, atoms
from journal.wording.sounds import known_words
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word
from journal.wording.vocabulary import (
    CYLINDER_SLOTS,
    LIST_SLOT,
    TEXT_SLOT,
    Vocabulary,
    vocabulary,
)

_ONE_TO_TWENTY = (*DIGITS[1:], *TEENS, TENS[0])


_MOST_WAYS = 3
"""Ways of saying one value of a table of choices that recognisers are told of."""


@cache
def speakable(cylinders: int | None, attention: str = "", *, led: bool = False) -> Speakable:
    """What can be said about an engine of so many cylinders; 20 where it is not known.

    Args:
        cylinders: how many it has.
        attention: a word that must come before every phrase; empty for none.
        led: whether the journal leads the test, so that what is only said then is listened for.

    Raises:
        BadInput: the word is part of some phrase, or is no word.
    """
    count = cylinders or 20
    rules = rules_for(count)
    fillers = frozenset(_words(rules["lead"]))
    if attention:
        _check_attention(attention)
        rules["lead"] = Sequence((Word(attention), rules["lead"]))
    told = {number_only: _told(number_only=number_only, led=led) for number_only in (False, True)}
    graphs = {number_only: minimal(*parts, rules) for number_only, parts in told.items()}
    words = {word for graph in graphs.values() for arcs in graph.arcs for word, _ in arcs}
    return Speakable(
        tuple(sorted(words)),
        {expect: graphs[expect is Expect.NUMBER] for expect in Expect},
        _any_order(frozenset(words)),
        frozenset(word for p in vocabulary().phrases for way in p.say for word in _openers(way)),
        fillers,
        attention,
    )


def _any_order(phrases: frozenset[str]) -> WordGraph:
    """The words of the phrases and every other that a text can be understood by, in any order and number."""
    words = phrases | lexicon().words | known_words() | vocabulary().fillers | vocabulary().edges
    said = sorted(word for word in words if word.replace("'", "").isalpha() and word not in vocabulary().written_only)
    return WordGraph((tuple((word, 0) for word in said),), frozenset({0}))


def _check_attention(word: str) -> None:
    if not (word.isalpha() and word.islower() and word.isascii()):
        raise BadInput(f"{word!r} cannot be listened for; choose one word of small letters")
    if word in known_words() or atoms(word):
        raise BadInput(f"{word!r} is said in phrases too; choose a word that is not")


def _words(part: Template) -> Iterator[str]:
    match part:
        case Word(text):
            yield text
        case Sequence(parts) | Choice(parts):
            for inner in parts:
                yield from _words(inner)
        case _:
            return


def _openers(way: Template) -> frozenset[str]:
    """The words that a template ending in free text begins with; none for any other."""
    if not isinstance(way, Sequence) or way.parts[-1] != Slot(TEXT_SLOT):
        return frozenset()
    first = way.parts[0]
    options = first.options if isinstance(first, Choice) else (first,)
    heads = [o.parts[0] if isinstance(o, Sequence) and o.parts else o for o in options]
    return frozenset(head.text for head in heads if isinstance(head, Word))


def _told(*, number_only: bool, led: bool) -> tuple[list[Template], list[Template], list[Template]]:
    """What recognisers are told of: what stands alone, what more may follow in one breath, and what follows.

    A bare number is listened for at any time: left out, it would be heard as the reading it sounds most like.
    """
    words = vocabulary()
    phrases = tuple(p for p in words.phrases if led or p.only != "led")
    if number_only:
        phrases = tuple(p for p in phrases if p.only == "number" or p.kind == "command")
    ways = [(spoken(way, words), bool(p.go_on)) for p in phrases for way in p.listen or p.say]
    more = [spoken(way, words) for p in phrases for way in p.go_on]
    return [w for w, goes_on in ways if not goes_on], [w for w, goes_on in ways if goes_on], more


def rules_for(cylinders: int) -> dict[str, Template]:
    """All rules a spoken phrase refers to; numbers and choices among them."""
    words = vocabulary()
    rules = {**words.rules, **words.listened}
    for name, table in words.choices.items():
        most = _MOST_WAYS if len(table.values) > 1 else None
        ways = [spoken(way, words) for ways in table.values.values() for way in _said(ways, words)[:most]]
        rules[f"choice_{name}"] = Choice(tuple(ways))
    rules["slot_cylinder"] = Choice(tuple(Word(w) for w in _ONE_TO_TWENTY[:cylinders]))
    rules["slot_engine_count"] = Word(_ONE_TO_TWENTY[cylinders - 1])
    return {name: spoken(part, words) for name, part in rules.items()}


def _said(ways: tuple[Template, ...], words: Vocabulary) -> list[Template]:
    return [way for way in ways if not (isinstance(way, Word) and way.text in words.written_only)]


def spoken(part: Template, words: Vocabulary) -> Template:
    """A template with its slots replaced by the rules that say them."""
    match part:
        case Slot(name) if name in words.choices:
            return Rule(f"choice_{name}")
        case Slot(name) if name in CYLINDER_SLOTS:
            return Rule("slot_cylinder")
        case Slot(name) if name == LIST_SLOT:
            one = Rule("slot_cylinder")
            more: Template = Sequence(())
            for _ in range(7):
                more = Choice((Sequence((Choice((Word("and"), Sequence(()))), one, more)), Sequence(())))
            return Sequence((one, more))
        case Slot(name) if name == TEXT_SLOT:
            return Sequence(())
        case Slot("signed" | "reading" as name):
            return Rule(name)
        case Slot("engine_count"):
            return Rule("slot_engine_count")
        case Slot():
            return Rule("number")
        case Sequence(parts):
            return Sequence(tuple(spoken(p, words) for p in parts))
        case Choice(options):
            said = [o for o in options if not (isinstance(o, Word) and o.text in words.written_only)]
            return Choice(tuple(spoken(o, words) for o in said))
        case _:
            return part
