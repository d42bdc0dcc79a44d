"""Sentences by machine: walks through the phrase grammar, the same with words lost or changed, and plain noise."""

from __future__ import annotations

import random
from functools import cache

from hypothesis import strategies as st

from journal.hearing.types import Expect, Speakable, WordGraph
from journal.wording import speakable


@cache
def _said_on(cylinders: int) -> Speakable:
    return speakable(cylinders)


def walk(graph: WordGraph, chance: random.Random, longest: int = 24) -> str:
    """A sentence of the grammar, or the beginning of one when it has not ended after `longest` words."""
    words: list[str] = []
    state = graph.start
    while len(words) < longest:
        if state in graph.finals and (not graph.arcs[state] or chance.random() < 0.4):
            break
        if not graph.arcs[state]:
            break
        word, state = chance.choice(graph.arcs[state])
        words.append(word)
    return " ".join(words)


def spoilt(sentence: str, words: tuple[str, ...], chance: random.Random) -> str:
    """A sentence with words lost, doubled, swapped or replaced by others, as a recogniser may write it."""
    said = sentence.split()
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(said) + 1)
        match chance.randrange(4):
            case 0:
                del said[at : at + 1]
            case 1:
                said[at:at] = [chance.choice(words)]
            case 2:
                said[at : at + 1] = [str(chance.choice([0, 3, 13, 30, 38.5, 700, 1e9, -2]))]
            case _:
                chance.shuffle(said)
    return " ".join(said)


@st.composite
def sentences(draw: st.DrawFn, cylinders: int = 6) -> str:
    """Something that may be said at an engine with so many cylinders, or heard in its place."""
    said = _said_on(cylinders)
    chance = random.Random(draw(st.integers(0, 2**32)))
    kind = draw(st.sampled_from(["grammar", "spoilt", "words", "text"]))
    if kind == "text":
        return draw(st.text(max_size=200))
    if kind == "words":
        return " ".join(draw(st.lists(st.sampled_from(said.words), max_size=20)))
    expect = draw(st.sampled_from(list(Expect)))
    sentence = walk(said.graph[expect], chance)
    return sentence if kind == "grammar" else spoilt(sentence, said.words, chance)
