"""Words in, the part of an engine that they name out: any part, by the noun that ends its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from journal.wording.lexicon import Said, lexicon, part_names
from journal.wording.numbers import atoms

_LONGEST = 5
"""Words of a name at most."""


@dataclass(frozen=True)
class Thing:
    """The name of a part."""

    end: int
    """Index of the word after it."""
    name: str
    """As it is said."""
    known: bool
    """Whether all its words are such as parts are named with."""


def thing_at(words: Sequence[Said], at: int) -> Thing | None:
    """The part that is named from a word on, by as many words as belong to it; none where no part is."""
    _, kinds = part_names()
    found = None
    known = True
    for end in range(at + 1, min(at + _LONGEST, len(words)) + 1):
        word = words[end - 1]
        if word.pause and end > at + 1:
            break
        noun = _noun(word.text)
        if not noun and word.text not in kinds:
            if word.text in lexicon().words or any(a.cost < 1 for a in atoms(word.text)):
                break
            known = False
        if noun:
            found = Thing(end, " ".join(w.text for w in words[at:end]), known)
    return found


def one_of(name: str) -> str:
    """The name for one of several: "glow plug" of "glow plugs"."""
    *kind, noun = name.split()
    return " ".join([*kind, _noun(noun) or noun])


def _noun(word: str) -> str:
    """The noun for one, where a word is such a noun or several of it; empty where it is neither."""
    nouns, _ = part_names()
    return next((w for w in (word, word.removesuffix("s"), word.removesuffix("es")) if w in nouns), "")
