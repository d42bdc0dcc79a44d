"""Words that no entry comes of in, whether they are for the journal all the same out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from journal.wording.lexicon import Said, lexicon, said_words
from journal.wording.numbers import atoms
from journal.wording.things import thing_at
from journal.wording.tokens import tokenise


class Near(StrEnum):
    """What words that were not understood are."""

    NOTHING = "nothing"
    """Talk that is not for the journal."""
    SAYING = "saying"
    """A statement about the engine that no kind of entry holds: worth keeping as a note."""
    NOTE = "note"
    """The same in nothing but words whose meaning is known, and of a thing that is named first."""
    LOST = "lost"
    """Most of something for the journal, with a part that could not be made out."""


_FEWEST = 3
"""Words from which something is a statement."""

_MOSTLY = 0.5
"""Share of the words that must be known for something to be for the journal."""

_READ = frozenset({"act", "next", "baseline", "quantity", "no_change", "run", "cut_out"})
"""Roles that with a number or a cylinder are most of a reading."""

_BIDS = frozenset({
    "bring", "check", "close", "come", "fetch", "get", "give", "go", "grab", "hand", "help", "hold", "keep", "kill",
    "lean", "leave", "let", "lift", "listen", "look", "move", "open", "pass", "pull", "push", "put", "run", "shut",
    "start", "stop", "switch", "take", "throw", "tilt", "turn", "wait", "watch", "wipe",
})  # fmt: skip
"""Words with which somebody is told to do something, first of all: "turn that fan off"."""

_NAMED = frozenset({"subject", "quantity", "part", "fixable", "wanted", "engine_thing"})
_STATED = frozenset({"quality", "damage", "dead", "no_change", "engine_state", "act", "fixed"})
_MEANS_NOTHING = frozenset({"link", "hesitation", "aside", "fix"})


@dataclass
class _Told:
    """What was made out so far."""

    named_first: bool = False
    """Whether a thing of the engine is what is spoken of first."""
    named: bool = False
    """Whether one is spoken of at all."""
    checked: bool = False
    """Whether it is one that is checked or measured, of which more may have been said than a note."""
    stated: bool = False
    """Whether something is said of it, in other words than its name."""
    number: bool = False
    """Whether a number or a cylinder is in it."""
    known: int = 0
    """Words of some meaning."""
    roles: set[str] = field(default_factory=set)
    """What the others may be."""


def near(text: str) -> Near:
    """How near a text is to something for the journal.

    Args:
        text: what was said or typed, of which no entry came.
    """
    words = said_words(tokenise(text))
    if len(words) < _FEWEST:
        return Near.NOTHING
    told = _told(words)
    if told is None:
        return Near.NOTHING
    if words[0].text in _BIDS and not told.number:
        return Near.NOTHING
    if told.named and told.stated:
        plain = told.named_first and not told.number and not told.checked and told.known == len(words)
        return Near.NOTE if plain else Near.SAYING
    if told.named_first and told.number:
        return Near.SAYING
    mostly = told.known >= _MOSTLY * len(words)
    return Near.LOST if told.number and mostly and told.roles & _READ else Near.NOTHING


def _told(words: Sequence[Said]) -> _Told | None:
    """What the words tell; none where one of them shows that no report of this engine is being made."""
    said = [w.text for w in words]
    told, at = _Told(), 0
    while at < len(said):
        matches = [
            (end, found) for end, found in lexicon().at(said, at) if any(p.role != "quantity_word" for p in found)
        ]
        end, parts = max(matches, key=lambda pair: pair[0], default=(at + 1, ()))
        found = {p.role for p in parts}
        if found & {"veto", "intend", "polite"} or (at == 0 and "asking" in found):
            return None
        thing = thing_at(words, at)
        if thing is not None and thing.known and thing.end >= end:
            end, found = thing.end, {"engine_thing"}
        number = any(a.cost < 0.5 for a in atoms(said[at]))
        told.known += (end - at) if found or number else 0
        told.number = told.number or number
        if found and not found & _MEANS_NOTHING:
            # One word cannot be both the thing and what is said of it.
            if found & _NAMED and not told.named:
                told.named, told.named_first = True, not told.stated and not told.roles
                told.checked = bool(found & {"subject", "quantity"})
            elif found & _STATED:
                told.stated = True
            told.roles |= found
        at = end
    return told
