"""No two phrases of the grammar mean different things for the same words on the same engine: each sentence is seen.

The grammar's network of words, with every number spelt out, is made deterministic by the subset construction. A state
in which two phrases may end stands for every sentence that both of them say; there must be none but those named here.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from journal.facts import Cut, Engine, PartWanted
from journal.hearing.types import WordGraph
from journal.wording import Command, Context, Meaning, Number, Verdict, decide_text
from journal.wording.automaton import minimal
from journal.wording.meanings import Refused, meaning_of
from journal.wording.network import network
from journal.wording.numbers import cardinal
from journal.wording.parse import parse
from journal.wording.speakable import rules_for, speakable, spoken
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word
from journal.wording.vocabulary import CYLINDER_SLOTS, LIST_SLOT, TEXT_SLOT, vocabulary

Place = int | tuple[str, int, int]
"""A state of the network, or a slot being filled: its words' graph, the state after it, a state of the graph."""


class Proof:
    """The deterministic network of one engine, with the phrases that may end in each state."""

    def __init__(self, cylinders: int) -> None:
        rules = rules_for(cylinders)
        self.graphs = {
            "cylinder": minimal([Rule("slot_cylinder")], [], [], rules),
            "cylinders": minimal([spoken(Slot(LIST_SLOT), vocabulary())], [], [], rules),
            "engine_count": minimal([Rule("slot_engine_count")], [], [], rules),
            "signed": minimal([Rule("signed")], [], [], rules),
            "number": minimal([Rule("number")], [], [], rules),
        }
        self.net = network()
        start = self.closure([0])
        self.came_from: dict[frozenset[Place], tuple[frozenset[Place], str] | None] = {start: None}
        self.shared: dict[frozenset[int], list[frozenset[Place]]] = {}
        queue = deque([start])
        while queue:
            places = queue.popleft()
            ends = frozenset(self.net.ends[p] for p in places if isinstance(p, int) and p in self.net.ends)
            if len(ends) > 1:
                self.shared.setdefault(ends, []).append(places)
            for word, reached in self.moves(places).items():
                after = self.closure(reached)
                if after not in self.came_from:
                    self.came_from[after] = (places, word)
                    queue.append(after)

    def closure(self, places: Iterable[Place]) -> frozenset[Place]:
        found: set[Place] = set()
        stack = list(places)
        while stack:
            place = stack.pop()
            if place in found:
                continue
            found.add(place)
            if isinstance(place, int):
                stack += [target for target, _ in self.net.empties[place]]
                for slot, target in self.net.slots[place]:
                    if slot != TEXT_SLOT:
                        kind = self.kind(slot)
                        stack.append((kind, target, self.graphs[kind].start))
            elif place[2] in self.graph(place).finals:
                stack.append(place[1])
        return frozenset(found)

    def moves(self, places: Iterable[Place]) -> dict[str, set[Place]]:
        reached: dict[str, set[Place]] = {}
        for place in places:
            if isinstance(place, int):
                for word, target in self.net.words[place]:
                    reached.setdefault(word, set()).add(target)
            else:
                for word, state in self.graph(place).arcs[place[2]]:
                    reached.setdefault(word, set()).add((place[0], place[1], state))
        return reached

    def kind(self, slot: str) -> str:
        if slot in CYLINDER_SLOTS:
            return "cylinder"
        return slot if slot in self.graphs else "number"

    def graph(self, place: tuple[str, int, int]) -> WordGraph:
        return self.graphs[place[0]]

    def sentence(self, places: frozenset[Place]) -> str:
        words: list[str] = []
        while (step := self.came_from[places]) is not None:
            places, word = step
            words.insert(0, word)
        return " ".join(words)


ENGINES = [pytest.param(n, marks=[] if n in (6, 16) else pytest.mark.long) for n in range(1, 21)]


@pytest.mark.parametrize("cylinders", ENGINES)
def test_no_two_phrases_mean_different_things_for_the_same_words(cylinders: int) -> None:
    proof = Proof(cylinders)
    assert len(proof.came_from) > 5000
    phrases = vocabulary().phrases
    context = Context(engine=Engine(cylinders))
    for ends, places in proof.shared.items():
        kinds = {phrases[end].kind for end in ends}
        sentences = [proof.sentence(p) for p in places]
        if kinds == {"cut", "part again"}:
            # "And one for five" goes on from a part that was just wanted, and makes no sense elsewhere.
            assert all(not any(isinstance(d.meaning, PartWanted) for d in decide_text(s, context)) for s in sentences)
            continue
        # "five eight" is a reading, or the number 58 where one is awaited; where none is, it is the reading.
        assert kinds == {"cut", "number"}, (ends, sentences)
        for sentence in sentences:
            meanings = {d.meaning for d in decide_text(sentence, context)}
            awaited = {d.meaning for d in decide_text(sentence, Context(engine=Engine(cylinders), expects_number=True))}
            assert len(meanings) == 1
            assert meanings != awaited


@st.composite
def sentences(draw: st.DrawFn) -> str:
    """Any sentence that recognisers are told of."""
    graph = speakable(draw(st.sampled_from([3, 6, 12, 16]))).graph
    graph_of_it = graph[next(iter(graph))]
    state, words = graph_of_it.start, []
    while graph_of_it.arcs[state]:
        if state in graph_of_it.finals and draw(st.integers(0, 2)) == 0:
            break
        word, state = draw(st.sampled_from(graph_of_it.arcs[state]))
        words.append(word)
    return " ".join(words)


@settings(max_examples=200, deadline=None)
@given(sentences())
def test_every_sentence_recognisers_are_told_of_is_understood_word_for_word(sentence: str) -> None:
    found = parse(sentence, 16)
    words = sentence.split()
    if words[-1] in TEXT_STARTS or words in ([], ["is"]):
        return  # what is said next is free text, heard without the grammar
    assert found, sentence
    assert found[0].cost < 1.0, sentence


TEXT_STARTS = {"note", "that", "complaint", "is", "unit", "name", "done", "repaired", "repair"}


SIXTEEN = Context(engine=Engine(16), next_cylinder=5, question_options=(Cut(1, 30.0),))


@st.composite
def spoken_phrases(draw: st.DrawFn) -> tuple[str, Meaning]:
    """Any sentence of any phrase with what it means, its slots filled at will."""
    phrase = draw(st.sampled_from([p for p in vocabulary().phrases if not p.framed]))
    words: list[str] = []
    filled: dict[str, Any] = {}
    _say(draw, draw(st.sampled_from(phrase.say)), words, filled)
    meaning = meaning_of(phrase, filled, SIXTEEN)
    assume(words and not isinstance(meaning, Refused))
    assert not isinstance(meaning, Refused)
    return " ".join(words), meaning


def _say(draw: st.DrawFn, part: Template, words: list[str], filled: dict[str, Any]) -> None:
    match part:
        case Word(text):
            words.append(text)
        case Sequence(parts):
            for inner in parts:
                _say(draw, inner, words, filled)
        case Choice(options):
            _say(draw, draw(st.sampled_from(options)), words, filled)
        case Rule(name):
            _say(draw, vocabulary().rules[name], words, filled)
        case Slot(name) if name in vocabulary().choices:
            table = vocabulary().choices[name]
            filled[table.attribute] = draw(st.sampled_from(sorted(table.values)))
            _say(draw, draw(st.sampled_from(table.values[filled[table.attribute]])), words, filled)
        case Slot(name):
            filled[name] = _fill(draw, name, words)


def _fill(draw: st.DrawFn, slot: str, words: list[str]) -> Any:
    if slot == TEXT_SLOT:
        words.append("oil on the rocker cover")
        return words[-1]
    if slot == LIST_SLOT:
        several = draw(st.lists(st.integers(1, 16), min_size=1, max_size=8, unique=True))
        words.extend(cardinal(n)[0] for n in several)
        return tuple(several)
    if slot in CYLINDER_SLOTS or slot == "engine_count":
        number = 16 if slot == "engine_count" else draw(st.integers(1, 16))
        words.append(cardinal(number)[0])
        return number
    whole_only = slot in ("count", "spn", "fmi")
    value = draw(st.integers(0, 31)) if whole_only else draw(st.integers(0, 1300)) / draw(st.sampled_from([1, 10]))
    words.extend(cardinal(value))
    return float(value)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(spoken_phrases())
def test_every_sentence_of_the_grammar_is_taken_as_meant_or_asked_about(said: tuple[str, Meaning]) -> None:
    sentence, meaning = said
    decisions = decide_text(sentence, SIXTEEN)
    taken = [d for d in decisions if d.verdict is Verdict.TAKE]
    assert all(d.meaning == meaning for d in taken), sentence
    if not taken:
        # A command and a number alone, which no question can offer, are said again.
        named = [each for d in decisions for each in (d.meaning, *d.alternatives)]
        assert meaning in named or isinstance(meaning, Command | Number), sentence
