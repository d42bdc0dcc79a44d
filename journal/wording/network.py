"""Phrases in, a network of words and slots out, which the parser and the word graph walk."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

from journal.wording.numbers import atoms
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word
from journal.wording.vocabulary import CYLINDER_SLOTS, Vocabulary, vocabulary

Tag = tuple[str, str]
"""An attribute and the value a choice gives it."""


_IN_NUMBERS = (
    "and",
    "a",
    "half",
    "point",
    "dot",
    "decimal",
    "minus",
    "negative",
    "to",
    "through",
    "hundred",
    "thousand",
)
"""Words that may stand in a number or between the numbers of a list, besides those that are a number themselves."""


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


@dataclass(frozen=True)
class Ending:
    """How the words of a whole phrase end."""

    more: bool
    """Whether words may follow that change what a phrase of theirs means."""
    slots: frozenset[str]
    """The slots that their last word fills or helps to fill."""


def ending(said: list[str]) -> Ending | None:
    """How words end that are a phrase word for word; none where they are not.

    A slot but a cylinder's is taken to be filled by any words that may stand in a number or a list, so that a phrase
    may be found to go on that does not, never the other way round.

    Args:
        said: words.
    """
    net = network()
    reached: list[dict[int, set[str]]] = [{0: set()}, *({} for _ in said)]
    for at, word in enumerate(said):
        for state in reached[at]:
            step = net.step(state)
            for target, _ in step.words.get(word, ()):
                reached[at + 1].setdefault(target, set())
            for slot, target, _ in step.slots:
                last = at + bool(atoms(word)) if slot in CYLINDER_SLOTS else _number_end(said, at)
                for end in range(at + 1, last + 1):
                    reached[end].setdefault(target, set()).add(slot)
    over = [state for state in reached[-1] if net.step(state).ends]
    if not over:
        return None
    more = any(_changes(net, state) for state in over)
    return Ending(more, frozenset(slot for state in over for slot in reached[-1][state]))


def _changes(net: Network, over: int) -> bool:
    """Whether the words that may follow a whole phrase fill a slot, choose something or make it another phrase."""
    meant = set(net.step(over).ends)
    seen, stack = {over}, [over]
    while stack:
        step = net.step(stack.pop())
        after = [(target, tags) for targets in step.words.values() for target, tags in targets]
        if step.slots or any(tags for _, tags in after) or not meant.issuperset(step.ends):
            return True
        stack += [target for target, _ in after if target not in seen]
        seen.update(target for target, _ in after)
    return False


def _number_end(said: list[str], at: int) -> int:
    """Index after the last of the words from here on that may stand in a number or a list of numbers."""
    while at < len(said) and (atoms(said[at]) or said[at] in _IN_NUMBERS):
        at += 1
    return at


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
