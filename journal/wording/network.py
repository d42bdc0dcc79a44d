"""Phrases in, a network of words and slots out, which the parser and the word graph walk."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

from journal.wording.numbers import atoms
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word
from journal.wording.vocabulary import CYLINDER_SLOTS, Vocabulary, vocabulary

Tag = tuple[str, str]
"""An attribute and the value a choice gives it."""


@dataclass(frozen=True)
class Step:
    """All that can follow from one state without another word in between."""

    words: dict[str, tuple[tuple[int, tuple[Tag, ...]], ...]]
    """For each word, the states it leads to and the tags picked up on the way."""
    slots: tuple[tuple[str, int, tuple[Tag, ...]], ...]
    """Slots that may be filled next: name, state it leads to, tags."""
    ends: tuple[tuple[int, tuple[Tag, ...]], ...]
    """Phrases that may end here, by index, with tags."""


@dataclass
class Network:
    """A network over the phrases of one vocabulary; state 0 is the start."""

    empties: list[list[tuple[int, Tag | None]]] = field(default_factory=list)
    words: list[list[tuple[str, int]]] = field(default_factory=list)
    slots: list[list[tuple[str, int]]] = field(default_factory=list)
    ends: dict[int, int] = field(default_factory=dict)
    laid: dict[tuple[int, Template], int] = field(default_factory=dict)
    _steps: dict[int, Step] = field(default_factory=dict)

    def add(self) -> int:
        """A new state."""
        self.empties.append([])
        self.words.append([])
        self.slots.append([])
        return len(self.empties) - 1

    def vocabulary_words(self) -> frozenset[str]:
        """Every literal word in it."""
        return frozenset(word for arcs in self.words for word, _ in arcs)

    def step(self, state: int) -> Step:
        """What can follow from a state."""
        if state not in self._steps:
            self._steps[state] = self._closed(state)
        return self._steps[state]

    def _closed(self, state: int) -> Step:
        words: dict[str, dict[tuple[int, tuple[Tag, ...]], None]] = {}
        slots: dict[tuple[str, int, tuple[Tag, ...]], None] = {}
        ends: dict[tuple[int, tuple[Tag, ...]], None] = {}
        seen: set[tuple[int, tuple[Tag, ...]]] = set()
        stack: list[tuple[int, tuple[Tag, ...]]] = [(state, ())]
        while stack:
            at, tags = stack.pop()
            if (at, tags) in seen:
                continue
            seen.add((at, tags))
            for word, target in self.words[at]:
                words.setdefault(word, {})[(target, tags)] = None
            for slot, target in self.slots[at]:
                slots[(slot, target, tags)] = None
            if at in self.ends:
                ends[(self.ends[at], tags)] = None
            for target, tag in self.empties[at]:
                stack.append((target, (*tags, tag) if tag else tags))
        return Step({w: tuple(v) for w, v in words.items()}, tuple(slots), tuple(ends))


@cache
def network() -> Network:
    """The network of the packaged vocabulary."""
    return build(vocabulary())


def phrase_begins(said: list[str]) -> tuple[int, int]:
    """How far words follow some phrase that still wants something after them.

    Args:
        said: words; a single one may fill a cylinder's place.

    Returns:
        Index after the last word that follows it, and how many of them are words of the phrase itself.
    """
    net = network()
    found = (0, 0)
    reached = {0: 0}
    for end, word in enumerate(said, 1):
        after: dict[int, int] = {}
        for state, literal in reached.items():
            step = net.step(state)
            for target, _ in step.words.get(word, ()):
                after[target] = max(literal + 1, after.get(target, 0))
            if atoms(word):
                for slot, target, _ in step.slots:
                    if slot in CYLINDER_SLOTS:
                        after[target] = max(literal, after.get(target, 0))
        reached = after
        wanting = [literal for state, literal in reached.items() if net.step(state).slots]
        if wanting:
            found = (end, max(wanting))
    return found


def build(words: Vocabulary) -> Network:
    """The network of a vocabulary."""
    net = Network()
    start = net.add()
    for index, phrase in enumerate(words.phrases):
        end = net.add()
        net.ends[end] = index
        for template in phrase.say:
            last = _lay(net, words, template, start)
            net.empties[last].append((end, None))
    return net


def _lay(net: Network, words: Vocabulary, part: Template, at: int) -> int:
    """Lay a template from state `at`; the state it ends in. What begins alike is laid once."""
    if (at, part) not in net.laid:
        net.laid[at, part] = _lay_new(net, words, part, at)
    return net.laid[at, part]


def _lay_new(net: Network, words: Vocabulary, part: Template, at: int) -> int:
    match part:
        case Word(text):
            end = net.add()
            net.words[at].append((text, end))
            return end
        case Sequence(parts):
            for inner in parts:
                at = _lay(net, words, inner, at)
            return at
        case Choice(options):
            end = net.add()
            for option in options:
                net.empties[_lay(net, words, option, at)].append((end, None))
            return end
        case Rule(name):
            return _lay(net, words, words.rules[name], at)
        case Slot(name) if name in words.choices:
            end = net.add()
            table = words.choices[name]
            for value, ways in table.values.items():
                for way in ways:
                    net.empties[_lay(net, words, way, at)].append((end, (table.attribute, value)))
            return end
        case Slot(name):
            end = net.add()
            net.slots[at].append((name, end))
            return end
