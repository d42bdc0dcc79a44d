"""The phrase grammar in, the forms recognisers take out: word list, JSGF and word graph."""

from __future__ import annotations

from functools import cache

from journal.hearing.types import Expect, Speakable, WordGraph
from journal.wording.automaton import minimal
from journal.wording.numbers import DIGITS, TEENS, TENS
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word
from journal.wording.vocabulary import (
    CYLINDER_SLOTS,
    LIST_SLOT,
    TEXT_SLOT,
    Phrase,
    Vocabulary,
    vocabulary,
)

_ONE_TO_TWENTY = (*DIGITS[1:], *TEENS, TENS[0])


@cache
def speakable(cylinders: int | None) -> Speakable:
    """What can be said about an engine of so many cylinders; 20 where it is not known."""
    count = cylinders or 20
    graph = {expect: _graph(expect, count) for expect in Expect}
    words = {word for g in graph.values() for arcs in g.arcs for word, _ in arcs}
    return Speakable(tuple(sorted(words)), {expect: _jsgf(expect, count) for expect in Expect}, graph)


def _phrases(expect: Expect) -> list[Phrase]:
    """The phrases to listen for; while only a number is awaited, those that answer or correct."""
    if expect is Expect.ANYTHING:
        return list(vocabulary().phrases)
    return [p for p in vocabulary().phrases if p.only == "number" or p.kind == "command"]


def _rules(cylinders: int) -> dict[str, Template]:
    """All rules a spoken phrase refers to; numbers and choices among them."""
    words = vocabulary()
    rules = dict(words.rules)
    for name, table in words.choices.items():
        rules[f"choice_{name}"] = Choice(tuple(way for ways in table.values.values() for way in ways))
    rules["slot_cylinder"] = Choice(tuple(Word(w) for w in _ONE_TO_TWENTY[:cylinders]))
    rules["slot_engine_count"] = Word(_ONE_TO_TWENTY[cylinders - 1])
    rules["slot_number"] = rules["number"]
    return rules


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
        case Slot("signed"):
            return Rule("signed")
        case Slot("engine_count"):
            return Rule("slot_engine_count")
        case Slot():
            return Rule("slot_number")
        case Sequence(parts):
            return Sequence(tuple(spoken(p, words) for p in parts))
        case Choice(options):
            said = [o for o in options if not (isinstance(o, Word) and o.text in words.written_only)]
            return Choice(tuple(spoken(o, words) for o in said))
        case _:
            return part


def _graph(expect: Expect, cylinders: int) -> WordGraph:
    words = vocabulary()
    rules = {name: spoken(part, words) for name, part in _rules(cylinders).items()}
    once = [spoken(way, words) for p in _phrases(expect) if not p.chain for way in p.say]
    chained = [spoken(way, words) for p in _phrases(expect) if p.chain for way in p.say]
    return minimal(once, chained, rules)


def _jsgf(expect: Expect, cylinders: int) -> str:
    words = vocabulary()
    rules = {name: spoken(part, words) for name, part in _rules(cylinders).items()}
    once = [spoken(way, words) for p in _phrases(expect) if not p.chain for way in p.say]
    chained = [spoken(way, words) for p in _phrases(expect) if p.chain for way in p.say]
    needed: dict[str, None] = {}
    for part in (*once, *chained):
        _needs(part, rules, needed)
    lines = ["#JSGF V1.0;", "grammar journal;"]
    tops = []
    if once:
        tops.append("<once>")
        lines.append(f"<once> = {' | '.join(_in_jsgf(p) for p in once)};")
    if chained:
        tops.append("<chained> [<chained> [<chained>]]")
        lines.append(f"<chained> = {' | '.join(_in_jsgf(p) for p in chained)};")
    lines.insert(2, f"public <said> = {' | '.join(tops)};")
    lines += [f"<{name}> = {_in_jsgf(rules[name])};" for name in needed]
    return "\n".join(lines) + "\n"


def _needs(part: Template, rules: dict[str, Template], found: dict[str, None]) -> None:
    match part:
        case Rule(name):
            if name not in found:
                found[name] = None
                _needs(rules[name], rules, found)
        case Sequence(parts) | Choice(parts):
            for inner in parts:
                _needs(inner, rules, found)


def _in_jsgf(part: Template) -> str:
    match part:
        case Word(text):
            return vocabulary().pronounced.get(text, text)
        case Rule(name):
            return f"<{name}>"
        case Sequence(parts):
            return " ".join(_in_jsgf(p) for p in parts if p != Sequence(())) or "<NULL>"
        case Choice(options):
            said = [_in_jsgf(o) for o in options if o != Sequence(())]
            inner = " | ".join(said)
            return f"[{inner}]" if Sequence(()) in options else f"({inner})"
        case Slot(name):
            raise ValueError(f"slot {name!r} is not spoken")
